/**
 * Photographs made smaller on the tablet before they are kept, with the time at which they were taken. Drawn anew,
 * a picture loses whatever else its file held, such as where it was taken, unless that is wanted.
 */
import { withTags } from "./tags.js";

const LONGEST_EDGE = 2048;
const QUALITY = 0.82;

/**
 * @param {File} file from the camera or chosen @param {boolean} keepsPlace whether the owner of the car wants it @returns {Promise<{blob: Blob, taken_at: string|null}>}
 *   raises Trouble with a sentence where it is no picture that this browser can show
 */
export async function smaller(file, keepsPlace) {
  const picture = await opened(file);
  const scale = Math.min(1, LONGEST_EDGE / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(picture.width * scale));
  canvas.height = Math.max(1, Math.round(picture.height * scale));
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  const drawn = await new Promise((done) => canvas.toBlob(done, "image/jpeg", QUALITY));
  const blob = keepsPlace ? await withTags(file, drawn) : drawn;
  return { blob, taken_at: takenAt(file) };
}

async function opened(file) {
  try {
    return await createImageBitmap(file, { imageOrientation: "from-image" });
  } catch {
    const told = `“${file.name}” is not a picture that this browser can open; want a JPEG, PNG or WebP picture.`;
    throw Object.assign(new Error(told), { name: "Trouble" });
  }
}

/** A camera's file carries the moment it was taken as its own. */
const takenAt = (file) => (file.lastModified ? new Date(file.lastModified).toISOString() : null);

/** Draw a picture small into a canvas. @param {HTMLCanvasElement} canvas @param {Blob} blob */
export async function thumbnail(canvas, blob) {
  const picture = await createImageBitmap(blob);
  const scale = Math.max(canvas.width / picture.width, canvas.height / picture.height);
  const [width, height] = [picture.width * scale, picture.height * scale];
  canvas.getContext("2d").drawImage(picture, (canvas.width - width) / 2, (canvas.height - height) / 2, width, height);
  picture.close();
}
