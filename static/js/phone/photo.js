// @ts-check
/** Makes a camera's picture small enough to be sent from a cellar, and names it by its content. */

const SIDE = 1600;
const QUALITY = 0.82;

/**
 * A JPEG of at most 1,600 pixels a side and the SHA-256 of its bytes. A picture that the browser
 * cannot read is sent as it is: the server may know better.
 * @param {File} file @returns {Promise<{blob: Blob, sha256: string}>}
 */
export async function small(file) {
  let blob = /** @type {Blob} */ (file);
  try {
    const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
    const share = Math.min(1, SIDE / Math.max(picture.width, picture.height));
    const canvas = new OffscreenCanvas(
      Math.round(picture.width * share),
      Math.round(picture.height * share),
    );
    canvas.getContext("2d")?.drawImage(picture, 0, 0, canvas.width, canvas.height);
    picture.close();
    blob = await canvas.convertToBlob({ type: "image/jpeg", quality: QUALITY });
  } catch {
    blob = file;
  }
  return { blob, sha256: await hashOf(blob) };
}

/** @param {Blob} blob */
async function hashOf(blob) {
  const digest = await crypto.subtle.digest("SHA-256", await blob.arrayBuffer());
  return [...new Uint8Array(digest)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}
