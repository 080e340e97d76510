// What a picture file says of itself, read from its first kilobytes before anything is sent: lens, focal length. The
// server reads it again and better; this is only to show beforehand which sweeps a card holds.
"use strict";

// Exif stands near the start (CIPA DC-008, Exif 2.32, 4.5.4): one APP1 segment of at most 64 kB, seldom after others.
const CAMERA_BYTES = 256 * 1024;

const cameraSays = async (file) => {
  try {
    return readExif(new DataView(await file.slice(0, CAMERA_BYTES).arrayBuffer())) || {};
  } catch {
    // Cut short or damaged: the server tells what is wrong with it.
    return {};
  }
};

const readExif = (view) => {
  if (view.getUint16(0) !== 0xffd8) return null;
  for (let at = 2; view.getUint8(at) === 0xff; at += 2 + view.getUint16(at + 2)) {
    const marker = view.getUint8(at + 1);
    if (marker === 0xda) return null;
    if (marker === 0xe1 && view.getUint32(at + 4) === 0x45786966) return readTiff(view, at + 10);
  }
  return null;
};

// TIFF 6.0, section 2: an entry is tag, type, count, and the value or where it stands.
const readTiff = (view, start) => {
  const little = view.getUint16(start) === 0x4949;
  const u16 = (at) => view.getUint16(start + at, little);
  const u32 = (at) => view.getUint32(start + at, little);
  const find = (directory, tag) => {
    for (let entry = 0; entry < u16(directory); entry += 1) {
      const at = directory + 2 + 12 * entry;
      if (u16(at) === tag) return at;
    }
    return null;
  };
  const exif = find(u32(4), 0x8769);
  if (exif === null) return null;
  const directory = u32(exif + 8);
  const focal = find(directory, 0x920a);
  const lens = find(directory, 0xa434);
  return {
    focal: focal === null ? null : u32(u32(focal + 8)) / u32(u32(focal + 8) + 4) || null,
    lens: lens === null ? null : text(view, start, u32(lens + 4), u32(lens + 4) > 4 ? u32(lens + 8) : lens + 8),
  };
};

const text = (view, start, length, at) =>
  new TextDecoder().decode(new Uint8Array(view.buffer, start + at, Math.min(length, 256))).replace(/\0.*$/s, "").trim() || null;
