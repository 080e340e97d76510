// The line to the server: requests with progress, and signing in again in place when the session ends.
"use strict";

// Never fails: a line that broke off is status 0.
const request = (method, address, body, type, onProgress) =>
  new Promise((done) => {
    const call = new XMLHttpRequest();
    call.open(method, address);
    call.setRequestHeader("accept", "application/json");
    if (type) call.setRequestHeader("content-type", type);
    if (onProgress) call.upload.addEventListener("progress", (event) => onProgress(event.loaded));
    call.addEventListener("loadend", () => {
      let answer = {};
      try {
        answer = JSON.parse(call.responseText);
      } catch {
        // Not every answer has a document.
      }
      done({ status: call.status, answer, retryAfter: Number(call.getResponseHeader("retry-after")) || 0 });
    });
    call.send(body);
  });

const post = (address, document) => request("POST", address, JSON.stringify(document), "application/json");

// Signing in again in place; several files may wait for the same answer. False when it was given up.
let signingIn = null;
const signInAgain = () => {
  signingIn =
    signingIn ||
    new Promise((done) => {
      const dialog = document.getElementById("sign-in-again");
      const fields = dialog.querySelector("form");
      const refused = dialog.querySelector("[role=alert]");
      let isIn = false;
      refused.hidden = true;
      fields.onsubmit = async (event) => {
        event.preventDefault();
        const { status } = await request("POST", "/sign-in", new URLSearchParams(new FormData(fields)), null, null);
        isIn = status === 200;
        if (isIn) dialog.close();
        refused.hidden = isIn;
        refused.textContent =
          status === 401 ? "Name or password is wrong."
          : status === 429 ? "Too many tries. Try again in a quarter of an hour; nothing is lost."
          : "The server can't be reached; try again.";
      };
      dialog.onclose = () => {
        fields.elements.password.value = "";
        done(isIn);
      };
      dialog.showModal();
    }).finally(() => (signingIn = null));
  return signingIn;
};

const postSignedIn = async (address, document) => {
  for (;;) {
    const result = await post(address, document);
    if (result.status !== 401 || !(await signInAgain())) return result;
  }
};
