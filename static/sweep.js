// Progress of measuring, and keys on the page of a frame. Everything works without this script too.
"use strict";

(() => {
  const EVERY_MS = 1000;

  const get = async (address) => {
    const answer = await fetch(address, { headers: { accept: "application/json" }, cache: "no-store" });
    if (!answer.ok) throw new Error(String(answer.status));
    return answer.json();
  };

  // Asks again and again until `ask` says that it is done; a failed answer is asked for later.
  const poll = (ask) => {
    let wait = EVERY_MS;
    const turn = async () => {
      try {
        if (document.visibilityState === "visible" && (await ask())) return;
        wait = EVERY_MS;
      } catch {
        wait = Math.min(wait * 2, 30000);
      }
      setTimeout(turn, wait);
    };
    setTimeout(turn, EVERY_MS);
  };

  const setProgress = (bar, done, total) => {
    if (!bar || !total) return;
    bar.max = total;
    bar.value = done;
  };

  const typedIn = () =>
    [...document.querySelectorAll("main input:not([type=hidden]), main textarea")].some(
      (field) => field.type !== "checkbox" && field.value !== field.defaultValue,
    );

  // Loads the page again, but never over something that was typed.
  const loadAgain = (place) => {
    if (!typedIn()) {
      location.reload();
      return;
    }
    const link = document.createElement("a");
    link.href = location.pathname;
    link.textContent = "Measured. Load the page again to see the result.";
    place.replaceChildren(link);
  };

  const desk = document.getElementById("desk");
  if (desk) {
    poll(async () => {
      const now = await get("/desk.json");
      if (now.signature !== desk.dataset.signature) {
        const page = await (await fetch("/desk", { cache: "no-store" })).text();
        const fresh = new DOMParser().parseFromString(page, "text/html").getElementById("desk");
        if (fresh) {
          desk.replaceChildren(...fresh.childNodes);
          desk.dataset.signature = fresh.dataset.signature;
        }
      }
      for (const sweep of now.sweeps) {
        const row = desk.querySelector(`[data-sweep="${sweep.id}"]`);
        if (!row) continue;
        const state = row.querySelector("[data-state]");
        if (state.textContent !== sweep.state) state.textContent = sweep.state;
        setProgress(row.querySelector("progress"), sweep.frames_done, sweep.frames_total);
      }
      return !now.measuring;
    });
  }

  const arrived = document.querySelector("#upload-sweeps[data-measuring]");
  if (arrived) {
    poll(async () => {
      const now = await get("/desk.json");
      let measuring = false;
      for (const sweep of now.sweeps) {
        const row = arrived.querySelector(`[data-sweep="${sweep.id}"]`);
        if (!row) continue;
        row.querySelector("[data-state]").textContent = sweep.state;
        measuring = measuring || sweep.place === "measuring";
      }
      if (!measuring) location.reload();
      return !measuring;
    });
  }

  const measuring = document.getElementById("measuring");
  if (measuring) {
    poll(async () => {
      const now = await get(`/sweeps/${measuring.dataset.sweep}/progress`);
      if (!now.measuring) {
        loadAgain(measuring);
        return true;
      }
      const words = measuring.querySelector("[data-words]");
      if (words.textContent !== now.words) words.textContent = now.words;
      setProgress(measuring.querySelector("progress"), now.frames_done, now.frames_total);
      return false;
    });
  }

  const frames = document.getElementById("frame-nav");
  if (frames) {
    frames.querySelector("[data-keys]").hidden = false;
    const follow = (selector) => {
      const link = frames.querySelector(selector);
      if (link) location.assign(link.href);
    };
    document.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.altKey || event.metaKey) return;
      if (event.target.closest("input, textarea, select, button")) return;
      if (event.key === "ArrowLeft") follow("[rel=prev]");
      else if (event.key === "ArrowRight" && event.shiftKey) follow("[data-finding]");
      else if (event.key === "ArrowRight") follow("[rel=next]");
      else if (event.key === "Escape") follow("[data-up]");
    });
  }
})();
