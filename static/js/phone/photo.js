// @ts-check
/** Makes a camera's picture small enough to be sent from a cellar, and names it by its content. */

const SIDE = 1600;
const QUALITY = 0.82;
const THUMB = 240;
/** The server takes no larger file (bytes). */
export const MOST_BYTES = 15_000_000;

/**
 * A JPEG of at most 1,600 pixels a side and the SHA-256 of its bytes. A picture that the browser
 * cannot read is kept as it is: the server may know better.
 * @param {Blob} file @returns {Promise<{blob: Blob, sha256: string, isRead: boolean}>}
 */
export async function small(file) {
  const drawn = await scaled(file, SIDE).catch(() => null);
  return { ...(await named(drawn ?? file)), isRead: Boolean(drawn) };
}

/** A picture for a list, or nothing where it cannot be read. @param {Blob} blob */
export const thumb = (blob) => scaled(blob, THUMB).catch(() => null);

/** What is drawn, as a photo. @param {HTMLCanvasElement} canvas @returns {Promise<{blob: Blob, sha256: string}>} */
export const photoOf = (canvas) =>
  new Promise((done, fail) =>
    canvas.toBlob((blob) => (blob ? done(named(blob)) : fail(new Error("the picture could not be made"))), "image/jpeg", QUALITY),
  );

/** @param {Blob} file @param {number} side */
async function scaled(file, side) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const share = Math.min(1, side / Math.max(picture.width, picture.height));
  const canvas = new OffscreenCanvas(Math.max(1, Math.round(picture.width * share)), Math.max(1, Math.round(picture.height * share)));
  canvas.getContext("2d")?.drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  return canvas.convertToBlob({ type: "image/jpeg", quality: QUALITY });
}

/** @param {Blob} blob */
async function named(blob) {
  const digest = await crypto.subtle.digest("SHA-256", await blob.arrayBuffer());
  return { blob, sha256: [...new Uint8Array(digest)].map((byte) => byte.toString(16).padStart(2, "0")).join("") };
}
