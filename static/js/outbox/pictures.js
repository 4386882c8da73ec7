// Photos larger than 12 megapixels are made smaller before they wait: phones of today take 50 and
// more, which neither shows more of a foot nor measures it better. The date stays with the photo.
// Not below that, though 2,000 pixels measure a painted sore as well (tests/studies/
// smaller_photos.txt): photos follow their record by themselves, and a vet may look closer.

export const MOST_PIXELS = 12_000_000;

// {bytes, type} of a file; untouched when it is small enough or this browser cannot read it.
export async function smallEnough(file) {
  const bytes = await file.arrayBuffer();
  const untouched = { bytes, type: file.type };
  const { pixels, exif } = readJpeg(new DataView(bytes));
  if (pixels <= MOST_PIXELS) return untouched;
  try {
    const smaller = await scaled(file, MOST_PIXELS);
    const date = exif && upright(bytes.slice(exif.start, exif.end));
    return { bytes: date ? withExif(smaller, date) : smaller, type: "image/jpeg" };
  } catch {
    return untouched;
  }
}

async function scaled(file, most) {
  const picture = await createImageBitmap(file);
  const scale = Math.sqrt(most / (picture.width * picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.floor(picture.width * scale);
  canvas.height = Math.floor(picture.height * scale);
  const pen = canvas.getContext("2d");
  pen.imageSmoothingQuality = "high";
  pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  const blob = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", 0.92));
  return blob.arrayBuffer();
}

// ITU-T T.81 (JPEG), annex B: segments of marker and length; the frame header gives the size.
export function readJpeg(view) {
  const found = { pixels: 0, exif: null };
  if (view.byteLength < 4 || view.getUint16(0) !== 0xffd8) return found;
  for (let at = 2; at + 9 < view.byteLength; ) {
    const marker = view.getUint16(at), length = view.getUint16(at + 2);
    if (marker < 0xff02 || marker === 0xffda) break;
    const frame = marker >= 0xffc0 && marker <= 0xffcf && ![0xffc4, 0xffc8, 0xffcc].includes(marker);
    if (frame) found.pixels = view.getUint16(at + 5) * view.getUint16(at + 7);
    // "Exif", as Exif 2.2 (JEITA CP-3451) writes it at the head of an APP1 segment.
    if (marker === 0xffe1 && view.getUint32(at + 4) === 0x45786966) {
      found.exif = { start: at, end: at + 2 + length };
    }
    at += 2 + length;
  }
  return found;
}

// The pixels are turned upright by now, so tag 274 has to say that they are.
function upright(segment) {
  const { view, at, little } = orientation(segment);
  if (at) view.setUint16(at, 1, little);
  return segment;
}

// Where the value of tag 274 (which way up) stands in a segment, 0 where it has none.
export function orientation(segment) {
  const view = new DataView(segment), start = 10;
  const little = view.getUint16(start) === 0x4949;
  const directory = start + view.getUint32(start + 4, little);
  const count = view.getUint16(directory, little);
  for (let entry = directory + 2; entry < directory + 2 + 12 * count; entry += 12) {
    if (view.getUint16(entry, little) === 274) return { view, at: entry + 8, little };
  }
  return { view, at: 0, little };
}

export function withExif(jpeg, segment) {
  const joined = new Uint8Array(jpeg.byteLength + segment.byteLength);
  joined.set(new Uint8Array(jpeg, 0, 2));
  joined.set(new Uint8Array(segment), 2);
  joined.set(new Uint8Array(jpeg, 2), 2 + segment.byteLength);
  return joined.buffer;
}
