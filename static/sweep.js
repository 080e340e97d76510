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

  const busy = () =>
    document.querySelector("dialog[open]") ||
    [...document.querySelectorAll("main input:not([type=hidden]), main textarea")].some(
      (field) => field.type !== "checkbox" && field.value !== field.defaultValue,
    );

  // Loads the page again, but never over something that was typed or a dialog that is open.
  const loadAgain = (place) => {
    if (!busy()) {
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

  // A click on the chart leads to the nearest frame.
  const chart = document.getElementById("chart");
  const places = [...document.querySelectorAll("[data-along]")].filter((item) => item.dataset.along !== "");
  if (chart && places.length > 0) {
    chart.classList.add("leads-on");
    chart.querySelector("figcaption").append(" Choose a place on the chart to see its frame.");
    for (const picture of chart.querySelectorAll("svg[data-most]")) {
      picture.addEventListener("click", (event) => {
        const area = picture.getBoundingClientRect();
        const x = ((event.clientX - area.left) * picture.viewBox.baseVal.width) / area.width;
        const { left, right, most } = picture.dataset;
        const at = ((x - Number(left)) / (Number(right) - Number(left))) * Number(most);
        const off = (item) => Math.abs(Number(item.dataset.along) - at);
        const nearest = places.reduce((best, item) => (off(item) < off(best) ? item : best));
        location.assign(nearest.querySelector("a").href);
      });
    }
  }

  const frames = document.getElementById("frame-nav");
  if (frames) framePage(frames);

  function framePage(nav) {
    const follow = (selector) => {
      const link = nav.querySelector(selector);
      if (link) location.assign(link.href);
    };

    // Pointing: a click on the large picture is sent like one on the plain one.
    const point = document.getElementById("point");
    const large = document.getElementById("large");
    if (point && large) {
      const form = document.getElementById("point-form");
      const plain = document.getElementById("point-plain");
      if (plain) plain.hidden = true;
      const show = () => large.classList.toggle("is-pointing", point.open);
      point.addEventListener("toggle", show);
      show();
      // One place is marked: the picture is wanted in sight for the other.
      if (new URLSearchParams(location.search).has("x1")) large.scrollIntoView({ block: "start" });
      large.addEventListener("click", (event) => {
        if (!point.open) return;
        const area = large.getBoundingClientRect();
        const scale = Number(form.elements.shown_width.value) / area.width;
        const send = (name, value) => {
          const field = document.createElement("input");
          field.type = "hidden";
          field.name = name;
          field.value = String(value * scale - 0.5);
          form.append(field);
        };
        send("place.x", event.clientX - area.left);
        send("place.y", event.clientY - area.top);
        form.submit();
      });
    }
    const startPointing = () => {
      if (!point) return;
      point.open = true;
      large?.scrollIntoView({ block: "start" });
      point.querySelector("summary").focus({ preventScroll: true });
    };

    // Single keys can be switched off (WCAG 2.2, 2.1.4); this browser remembers it.
    const REMEMBERED = "breathmark-keys";
    const remember = (value) => {
      try {
        localStorage.setItem(REMEMBERED, value);
      } catch {
        // Not remembered where the browser keeps nothing; it holds for this page.
      }
    };
    const remembered = () => {
      try {
        return localStorage.getItem(REMEMBERED);
      } catch {
        return null;
      }
    };
    const help = document.getElementById("keys");
    const on = document.getElementById("keys-on");
    on.checked = remembered() !== "off";
    on.addEventListener("change", () => remember(on.checked ? "on" : "off"));
    const open = document.getElementById("keys-open");
    open.hidden = false;
    open.addEventListener("click", () => help.showModal());

    const acts = {
      ArrowLeft: () => follow("[rel=prev]"),
      ArrowRight: () => follow("[rel=next]"),
      n: () => follow("[data-finding]"),
      l: () => document.getElementById("reason")?.focus(),
      p: startPointing,
      u: () => document.querySelector("form[data-undo]")?.requestSubmit(),
      "?": () => help.showModal(),
      Escape: () => follow("[data-up]"),
    };
    document.addEventListener("keydown", (event) => {
      if (!on.checked || help.open || event.ctrlKey || event.altKey || event.metaKey) return;
      if (event.target.closest("input, textarea, select")) return;
      const act = Object.hasOwn(acts, event.key) ? acts[event.key] : null;
      if (!act) return;
      event.preventDefault();
      act();
    });
  }
})();
