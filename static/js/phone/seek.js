// @ts-check
/** The sheet that finds a monitor of the visit: by number, by the code on its label, by the camera. */

import { part, showFaults, text, valuesOf } from "./dom.js";
import { codeIn, findMonitor } from "./places.js";
import { Sheet } from "./sheet.js";

const LOOK_MS = 150;
const SCAN = "Scan the label";

export class SeekSheet extends Sheet {
  /** @param {HTMLDialogElement} dialog @param {import("./app.js").App} app @param {(monitor: any) => Promise<void>} go */
  constructor(dialog, app, go) {
    super(dialog);
    this.app = app;
    this.go = go;
    /** @type {MediaStream | null} */
    this.stream = null;
    /** @type {any} */
    this.monitor = null;
    const [number, code] = ["number", "code"].map((name) => /** @type {HTMLInputElement} */ (this.form.elements.namedItem(name)));
    this.form.addEventListener("click", ({ target }) => {
      const key = /** @type {any} */ (target).closest("[data-key]")?.dataset.key;
      if (key === undefined) return;
      number.value = key && (number.value + key).slice(0, number.maxLength);
      code.value = "";
      showFaults(this.form, []);
    });
    // One of the two: what was typed last is looked for.
    number.addEventListener("input", () => (code.value = ""));
    code.addEventListener("input", () => (number.value = ""));
    part(this.form, "scan").addEventListener("click", () => (this.stream ? this.stop() : this.scan()));
    dialog.addEventListener("close", () => this.stop());
  }

  async show() {
    part(this.form, "scanner").hidden = !(await canScan());
    this.tell("");
    return this.open({ key: "", title: "Find a monitor", values: {} });
  }

  /** What is looked for is no draft. */
  async keepNow() {
    this.dropTimer();
  }

  /** @returns {[string, string][]} */
  faults() {
    const typed = /** @type {{number: string, code: string}} */ (valuesOf(this.form));
    const { monitor, why } = findMonitor(this.app.zones, typed);
    this.monitor = monitor;
    return why ? [[typed.code ? "code" : "number", why]] : [];
  }

  /** @returns {Promise<any>} */
  async save() {
    return () => this.go(this.monitor);
  }

  // --- the camera ---------------------------------------------------------------------------------

  /** @param {string} words */
  tell(words) {
    text(part(this.form, "scan-status"), words);
  }

  async scan() {
    this.tell("Asking for the camera…");
    try {
      const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
      this.stream = stream;
      if (!this.dialog.open) return this.stop(); // closed while the browser asked
      const picture = part(this.form, "picture");
      picture.hidden = false;
      picture.srcObject = stream;
      await picture.play();
      text(part(this.form, "scan-words"), "Stop scanning");
      this.tell("Hold the code of the label in the picture.");
      return await this.look(stream, picture);
    } catch (fault) {
      this.stop();
      const refused = /** @type {any} */ (fault)?.name === "NotAllowedError";
      return this.tell(refused ? "The camera is not allowed here. Type the number instead; the browser’s settings for this address can allow it." : "No camera can be used now. Type the number instead.");
    }
  }

  /** Until a label is seen or the camera is off. @param {MediaStream} stream @param {HTMLVideoElement} picture */
  async look(stream, picture) {
    const detector = new /** @type {any} */ (window).BarcodeDetector({ formats: ["qr_code"] });
    while (this.stream === stream) {
      const seen = await detector.detect(picture).catch(() => []); // a picture that is not there yet
      const codes = seen.map((/** @type {any} */ { rawValue }) => codeIn(rawValue));
      const code = codes.find(Boolean);
      const { monitor } = code ? findMonitor(this.app.zones, { code }) : { monitor: null };
      if (monitor && this.stream === stream) return this.finish(async () => () => this.go(monitor));
      if (seen.length) this.tell(code ? "That label is of no monitor on this visit." : "That is no label of a monitor.");
      await new Promise((done) => setTimeout(done, LOOK_MS));
    }
    return undefined;
  }

  stop() {
    for (const track of this.stream?.getTracks() ?? []) track.stop();
    this.stream = null;
    const picture = part(this.form, "picture");
    picture.srcObject = null;
    picture.hidden = true;
    text(part(this.form, "scan-words"), SCAN);
    this.tell("");
  }
}

/** Whether this browser reads codes and has a camera; the camera is not asked for. */
async function canScan() {
  const { BarcodeDetector } = /** @type {any} */ (window);
  if (!BarcodeDetector || !navigator.mediaDevices?.getUserMedia) return false;
  return (await BarcodeDetector.getSupportedFormats().catch(() => [])).includes("qr_code");
}
