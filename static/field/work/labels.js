// Reads code labels: with the browser's own reader where it has one for them, else with a vendored decoder.

/** What reads a label from a picture source; resolves to its text, or null. @returns {Promise<(source: any) => Promise<string | null>>} */
export async function reader() {
  const Own = globalThis.BarcodeDetector;
  const formats = (await Own?.getSupportedFormats?.().catch(() => [])) ?? [];
  if (formats.includes("qr_code")) {
    const detector = new Own({ formats: ["qr_code"] });
    return async (source) => (await detector.detect(source))[0]?.rawValue ?? null;
  }
  const { decodeQR } = await import("../vendor/qr/decode.js");
  const canvas = document.createElement("canvas");
  return async (source) => decoded(decodeQR, pixels(canvas, source));
}

// More pixels take longer and read no better.
const WIDEST = 800;

function pixels(canvas, source) {
  const width = source.videoWidth ?? source.width;
  const height = source.videoHeight ?? source.height;
  const scale = Math.min(1, WIDEST / Math.max(width, height));
  canvas.width = Math.round(width * scale);
  canvas.height = Math.round(height * scale);
  const drawn = canvas.getContext("2d", { willReadFrequently: true });
  drawn.drawImage(source, 0, 0, canvas.width, canvas.height);
  return drawn.getImageData(0, 0, canvas.width, canvas.height);
}

function decoded(decodeQR, picture) {
  try {
    return decodeQR(picture);
  } catch {
    return null; // no label in it, or too blurred
  }
}

/**
 * The car that a label names: by its number in an address of the register, or by mark and number.
 * @returns {{id: number} | {name: string} | null}
 */
export function meant(text) {
  const id = /\/(?:cars?|car)\/(\d+)(?:$|[/?#])/.exec(text)?.[1];
  if (id) return { id: Number(id) };
  const name = /^\s*([A-Z]{2,4})[\s-]*0*(\d{1,6})\s*$/i.exec(text);
  return name ? { name: `${name[1]}${name[2]}`.toUpperCase() } : null;
}
