/**
 * What a camera wrote into a JPEG file beside its picture (Exif, CIPA DC-008), put before a picture that was drawn
 * anew from it: for owners who want to know where their photographs were taken.
 */

const START_OF_IMAGE = 0xffd8, START_OF_SCAN = 0xffda, APP1 = 0xffe1;
const EXIF = 0x45786966, LITTLE_ENDIAN = 0x4949, ORIENTATION = 0x0112, UPRIGHT = 1;
// Where the directories begin within the segment: behind its marker, its length and "Exif\0\0".
const TIFF = 10;

/** @param {File} file as the camera wrote it @param {Blob} picture a JPEG that stands upright @returns {Promise<Blob>} */
export async function withTags(file, picture) {
  const segment = segmentOf(await file.arrayBuffer());
  return segment ? new Blob([picture.slice(0, 2), upright(segment), picture.slice(2)], { type: picture.type }) : picture;
}

/** @returns {Uint8Array|null} a copy of the segment with the tags; null where there is none */
function segmentOf(buffer) {
  const view = new DataView(buffer);
  if (view.byteLength < 4 || view.getUint16(0) !== START_OF_IMAGE) return null;
  for (let at = 2; at + 8 <= view.byteLength; ) {
    const [marker, end] = [view.getUint16(at), at + 2 + view.getUint16(at + 2)];
    if (marker === START_OF_SCAN || marker < 0xff00 || end > view.byteLength) return null;
    if (marker === APP1 && view.getUint32(at + 4) === EXIF) return new Uint8Array(buffer.slice(at, end));
    at = end;
  }
  return null;
}

/** The camera's way up is in the drawn picture already. */
function upright(segment) {
  const view = new DataView(segment.buffer);
  const little = view.getUint16(TIFF) === LITTLE_ENDIAN;
  const first = TIFF + view.getUint32(TIFF + 4, little);
  const count = first + 2 <= view.byteLength ? view.getUint16(first, little) : 0;
  for (let at = first + 2; at < first + 2 + 12 * count && at + 12 <= view.byteLength; at += 12) {
    if (view.getUint16(at, little) === ORIENTATION) view.setUint16(at + 8, UPRIGHT, little);
  }
  return segment;
}
