// Puts a button beside every sentence that is made to be pasted. Without scripts it is marked and copied by hand.
"use strict";

for (const source of document.querySelectorAll("[data-copy]")) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "plain no-print";
  button.textContent = source.dataset.copy;
  const said = document.createElement("span");
  said.className = "quiet small no-print";
  said.setAttribute("role", "status");
  button.addEventListener("click", async () => {
    said.textContent = (await copied(source)) ? " Copied." : " It is marked: copy it with the keyboard.";
  });
  source.after(" ", button, said);
}

/** Puts the text of an element on the clipboard; where that is not allowed, it is marked. */
async function copied(source) {
  const text = source.textContent.replace(/\s+/g, " ").trim();
  try {
    await navigator.clipboard.writeText(text);
    return true;
  } catch {
    const range = document.createRange();
    range.selectNodeContents(source);
    const selection = getSelection();
    selection.removeAllRanges();
    selection.addRange(range);
    return false;
  }
}
