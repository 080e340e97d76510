// What is on a card, before anything is sent: files of dropped folders, what is left out and why, small pictures.
"use strict";

const PICTURES = /\.(jpe?g|png|tiff?|zip)$/i;

// Why a file is not sent, or null.
const skipReason = (path, file, maxMegabytes) => {
  const name = path.split("/").pop();
  if (name === ".DS_Store" || name === "Thumbs.db" || name === "desktop.ini") return "made by the computer, not the camera";
  if (name.startsWith("._")) return "a shadow file of the computer, not a picture";
  if (path.includes("__MACOSX/")) return "made by the computer, not the camera";
  if (!PICTURES.test(name)) return "not a JPEG, PNG or TIFF picture, nor a zip archive";
  if (file.size === 0) return "empty; copy it from the card again";
  if (file.size > maxMegabytes * 1024 * 1024 && !/\.zip$/i.test(name)) return `larger than ${maxMegabytes} MB`;
  return null;
};

const readEntry = async (entry, found) => {
  if (entry.isFile) {
    const file = await new Promise((done, failed) => entry.file(done, failed));
    found.push({ path: entry.fullPath.replace(/^\//, ""), file });
    return;
  }
  const reader = entry.createReader();
  // At most 100 entries come at a call.
  for (;;) {
    const some = await new Promise((done, failed) => reader.readEntries(done, failed));
    if (some.length === 0) return;
    for (const inside of some) await readEntry(inside, found);
  }
};

// Every file of what was dropped, folders within folders.
const droppedFiles = async (transfer) => {
  const entries = [...transfer.items].map((item) => item.webkitGetAsEntry && item.webkitGetAsEntry()).filter(Boolean);
  const found = [];
  for (const entry of entries) await readEntry(entry, found);
  return found;
};

// A small picture of a file; it goes where the browser can't show that kind of file.
const thumbnail = (file, label) => {
  const canvas = Object.assign(document.createElement("canvas"), { width: 120, height: 80 });
  canvas.setAttribute("role", "img");
  canvas.setAttribute("aria-label", label);
  createImageBitmap(file, { resizeWidth: 240 }).then(
    (picture) => {
      Object.assign(canvas, { width: picture.width, height: picture.height });
      canvas.getContext("2d").drawImage(picture, 0, 0);
      picture.close();
    },
    // A kind of picture that this browser can't show; the server can read it.
    () => canvas.remove(),
  );
  return canvas;
};
