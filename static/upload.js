// The upload queue: what is there and what is left out before a byte is sent, three files at a time, tried again when
// the line breaks, gone on with after a closed tab. Without this script the form sends the files by itself.
"use strict";

(() => {
  const form = document.getElementById("upload-form");
  if (!form) return;

  const AT_ONCE = 3;
  const TRIES = 8;
  const KEPT = "breathmark-upload";
  const by = (id) => document.getElementById(id);
  const collator = new Intl.Collator("en", { numeric: true, sensitivity: "base" });
  const maxMegabytes = Number(form.dataset.maxFileMb);

  let queue = [];
  let skipped = [];
  let isSending = false;
  let resumed = null;

  const count = (number, noun) => `${number} ${noun}${number === 1 ? "" : "s"}`;
  const megabytes = (bytes) => `${(bytes / 1e6).toFixed(bytes < 1e7 ? 1 : 0)} MB`;
  const nameOf = (item) => item.path.split("/").pop();
  const wait = (ms) => new Promise((done) => setTimeout(done, ms));

  // What is chosen

  const add = (entries) => {
    for (const { path, file } of entries) {
      const reason = skipReason(path, file, maxMegabytes);
      const twice = queue.find((item) => item.path === path);
      if (reason) {
        skipped.push({ path, reason });
      } else if (twice) {
        skipped.push({ path, reason: "chosen twice" });
      } else {
        queue.push({ path, file, state: "waiting", sent: 0, reason: "" });
      }
    }
    queue.sort((a, b) => collator.compare(a.path, b.path));
    showQueue();
  };

  const fromInput = (input) => {
    const entries = [...input.files].map((file) => ({ path: file.webkitRelativePath || file.name, file }));
    // The queue has the files now; the input must not send them once more.
    input.value = "";
    add(entries);
  };

  // What is shown

  const showQueue = () => {
    by("queue").hidden = queue.length === 0 && skipped.length === 0;
    const folders = new Set(queue.map((item) => item.path.split("/").slice(0, -1).join("/")));
    const bytes = queue.reduce((sum, item) => sum + item.file.size, 0);
    by("queue-summary").textContent =
      `${count(queue.length, "file")}, ${megabytes(bytes)}` +
      (folders.size > 1 ? `, from ${folders.size} folders` : "") +
      (queue.length > 0 ? `: ${queue[0].path} to ${queue[queue.length - 1].path}` : "");
    const left = by("queue-skipped");
    left.hidden = skipped.length === 0;
    left.querySelector("summary").textContent = `${count(skipped.length, "file")} left out`;
    left.querySelector("ul").replaceChildren(
      ...skipped.map(({ path, reason }) => Object.assign(document.createElement("li"), { textContent: `${path}: ${reason}` })),
    );
    by("queue-list").replaceChildren(
      ...queue.map((item) => {
        item.line = document.createElement("li");
        showItem(item);
        return item.line;
      }),
    );
    showSweeps();
    by("send").textContent = queue.length > 0 ? `Send ${count(queue.length, "file")} and measure` : "Send and measure";
  };

  // Chooses the lens that files with this name were published under, where nobody has chosen one yet.
  const proposeLens = (named) => {
    const select = form.elements.lens;
    const names = new Set(named.filter(Boolean).map((name) => name.toLowerCase()));
    if (select.value !== "" || names.size !== 1) return;
    const [name] = names;
    const knows = (option) => (option.dataset.names || "").toLowerCase().split("\n").includes(name);
    const known = [...select.options].find(knows);
    if (!known) return;
    select.value = known.value;
    select.dispatchEvent(new Event("change"));
    by("lens-proposed").textContent = "Proposed, because sweeps with these files' lens name were published under it.";
  };

  // Which sweeps it will be, as the files say; the newest call wins.
  let looking = 0;
  const showSweeps = async () => {
    const look = (looking += 1);
    const sweeps = new Map();
    for (const item of queue) {
      if (/\.zip$/i.test(item.path)) continue;
      item.says = item.says || (await cameraSays(item.file));
      if (look !== looking) return;
      const { focal, lens } = item.says;
      const key = `${lens || ""} ${focal || ""}`;
      if (!sweeps.has(key)) sweeps.set(key, { focal, lens, items: [] });
      sweeps.get(key).items.push(item);
    }
    proposeLens([...sweeps.values()].map((sweep) => sweep.lens));
    const lenses = new Set([...sweeps.values()].map((sweep) => sweep.lens)).size;
    const lines = [...sweeps.values()].map(({ focal, lens, items }) => {
      const line = document.createElement("li");
      const first = items[0];
      const last = items[items.length - 1];
      const words = document.createElement("span");
      words.textContent =
        (focal ? `${Number(focal.toFixed(1))} mm` : "focal length not in the files") +
        (lenses > 1 && lens ? `, ${lens}` : "") +
        `: ${count(items.length, "frame")}, ${nameOf(first)} to ${nameOf(last)}`;
      line.append(thumbnail(first.file, `First frame: ${nameOf(first)}`), thumbnail(last.file, `Last frame: ${nameOf(last)}`), words);
      return line;
    });
    by("queue-sweeps").hidden = lines.length === 0;
    by("queue-sweeps-words").textContent = `${count(lines.length, "sweep")}, as the files say`;
    by("queue-sweeps-list").replaceChildren(...lines);
  };

  const STATES = { waiting: "", sending: "on its way", done: "arrived", refused: "not taken", failed: "did not get through" };

  const showItem = (item) => {
    item.line.dataset.state = item.state;
    const words = STATES[item.state];
    item.line.textContent = item.path + (words ? `: ${words}` : "") + (item.reason ? ` (${item.reason})` : "");
  };

  const setState = (item, state, reason = "") => {
    item.state = state;
    item.reason = reason;
    showItem(item);
  };

  let started = 0;
  let sentBefore = 0;
  const showProgress = () => {
    const total = queue.reduce((sum, item) => sum + item.file.size, 0);
    const sent = queue.reduce((sum, item) => sum + (item.state === "done" || item.state === "refused" ? item.file.size : item.sent), 0);
    const ended = queue.filter((item) => item.state === "done" || item.state === "refused").length;
    const seconds = (performance.now() - started) / 1000;
    const rate = seconds > 1 ? (sent - sentBefore) / seconds : 0;
    const left = rate > 0 ? Math.ceil((total - sent) / rate) : null;
    by("queue-bar").max = Math.max(total, 1);
    by("queue-bar").value = sent;
    const time = left === null || sent === total ? "" : left < 60 ? `, about ${left} s left` : `, about ${Math.ceil(left / 60)} min left`;
    by("queue-words").textContent = `${ended} of ${count(queue.length, "file")}, ${megabytes(sent)} of ${megabytes(total)}${time}`;
  };

  const say = (text, kind = "", action = null) => {
    const box = document.createElement("div");
    box.className = kind ? `notice notice-${kind}` : "notice";
    box.append(Object.assign(document.createElement("p"), { textContent: text }));
    if (action) {
      const button = Object.assign(document.createElement("button"), { type: "button", textContent: action.label });
      button.addEventListener("click", action.run);
      box.append(button);
    }
    by("queue").hidden = false;
    by("queue-result").replaceChildren(box);
  };

  // What is sent

  const text = (name) => form.elements[name].value.trim();
  const number = (name) => {
    const typed = text(name);
    return typed === "" ? null : Number(typed.replace(",", "."));
  };

  const clearErrors = () => {
    for (const line of form.querySelectorAll(".field-error")) line.remove();
    for (const field of form.querySelectorAll("[aria-invalid]")) field.removeAttribute("aria-invalid");
    by("form-errors")?.remove();
  };

  const showErrors = (errors, names = {}) => {
    let first = null;
    for (const { field, detail } of errors) {
      const input = form.elements[names[field] || field];
      if (!input) {
        say(`${field}: ${detail}`, "stop");
        continue;
      }
      input.setAttribute("aria-invalid", "true");
      const line = Object.assign(document.createElement("p"), { className: "field-error", textContent: detail, id: `${input.id}-error` });
      input.setAttribute("aria-describedby", line.id);
      input.after(line);
      first = first || input;
    }
    first?.focus();
  };

  // A number that is none would be sent as null, which means "not given": say so here.
  const badNumbers = (names) =>
    names
      .filter((name) => text(name) !== "" && !Number.isFinite(number(name)))
      .map((name) => ({ field: name, detail: `“${text(name)}” is not a number; give one like 0.45` }));

  const openUpload = async () => {
    let lens = text("lens");
    const numbers = ["target_distance_m", "closest_focus_m"];
    if (lens === "new") numbers.push("focal_min_mm", "focal_max_mm", "max_aperture", "marked_closest_focus_m");
    const bad = badNumbers(numbers);
    if (lens === "") bad.push({ field: "lens", detail: "choose a lens of the list, or “a new lens” and describe it below" });
    if (bad.length > 0) {
      showErrors(bad);
      return null;
    }
    if (lens === "new") {
      const made = await postSignedIn("/api/v1/lenses", {
        maker: text("maker"), model: text("model"), mount: text("mount"), kind: text("kind"),
        focal_min_mm: number("focal_min_mm"), focal_max_mm: number("focal_max_mm"),
        max_aperture: number("max_aperture"), closest_focus_m: number("marked_closest_focus_m"),
      });
      if (made.status !== 201) return refuse(made, { closest_focus_m: "marked_closest_focus_m" });
      lens = made.answer.slug;
      const option = new Option(`${made.answer.maker} ${made.answer.model} (${made.answer.mount})`, lens, true, true);
      form.elements.lens.add(option);
      showNewLens();
    }
    const opened = await postSignedIn("/api/v1/uploads", {
      lens,
      conditions: {
        distortion_correction: text("distortion_correction"),
        breathing_compensation: text("breathing_compensation"),
        stabilisation: text("stabilisation"),
        target_distance_m: number("target_distance_m"),
        closest_focus_m: number("closest_focus_m"),
      },
    });
    if (opened.status !== 201) return refuse(opened, {});
    return opened.answer;
  };

  const refuse = ({ status, answer }, names) => {
    if (answer.errors?.length) showErrors(answer.errors, names);
    else if (status === 401) say("You are signed out. Nothing was lost; send again to sign in.", "warning");
    else if (status === 0) say("The server can't be reached. Nothing was lost; try again.", "stop");
    else say(answer.detail || `The server answered ${status}.`, "stop");
    return null;
  };

  const sendOne = async (upload, item) => {
    const name = item.path.split("/").map(encodeURIComponent).join("/");
    for (let attempt = 0; attempt < TRIES; attempt += 1) {
      setState(item, "sending", attempt > 0 ? `try ${attempt + 1}` : "");
      const { status, answer, retryAfter } = await request(
        "PUT", `/api/v1/uploads/${upload.id}/files/${name}`, item.file, "application/octet-stream",
        (sent) => {
          item.sent = Math.min(sent, item.file.size);
          showProgress();
        },
      );
      if (status === 200 || status === 201) {
        const refused = answer.refused || [];
        setState(item, "done", refused.map((file) => `${file.name}: ${file.reason}`).join("; "));
        return;
      }
      if (status === 401) {
        item.sent = 0;
        if (!(await signInAgain())) {
          setState(item, "failed", "you are signed out");
          return;
        }
        attempt -= 1;
        continue;
      }
      if (status >= 400 && status < 500 && status !== 408 && status !== 429) {
        setState(item, "refused", answer.detail || String(status));
        return;
      }
      item.sent = 0;
      await wait(retryAfter * 1000 || Math.min(1000 * 2 ** attempt, 30000));
    }
    setState(item, "failed", "the line broke off too often");
  };

  const send = async () => {
    clearErrors();
    by("queue-result").replaceChildren();
    if (queue.length === 0) {
      showErrors([{ field: "files", detail: "no file was chosen; choose the frames of a sweep, a folder or a zip archive" }]);
      return;
    }
    const upload = resumed || (await openUpload());
    if (!upload) return;
    resumed = upload;
    localStorage.setItem(KEPT, String(upload.id));
    const there = new Map(upload.files.map((file) => [file.name, file.bytes]));
    for (const item of queue) {
      if (there.get(item.path) === item.file.size) setState(item, "done", "was there already");
      else if (item.state !== "done" && item.state !== "refused") setState(item, "waiting");
    }
    by("queue-progress").hidden = false;
    started = performance.now();
    sentBefore = queue.reduce((sum, item) => sum + (item.state === "done" ? item.file.size : 0), 0);
    const waiting = queue.filter((item) => item.state === "waiting");
    const worker = async () => {
      for (let item = waiting.shift(); item; item = waiting.shift()) {
        await sendOne(upload, item);
        showProgress();
      }
    };
    await Promise.all(Array.from({ length: AT_ONCE }, worker));
    const failed = queue.filter((item) => item.state === "failed").length;
    if (failed > 0) {
      say(`${count(failed, "file")} did not get through. The others are safe.`, "warning", { label: "Send them again", run: run });
      return;
    }
    const finished = await postSignedIn(`/api/v1/uploads/${upload.id}/finish`, {});
    if (finished.status === 401 || finished.status === 0 || finished.status >= 500) {
      say("All files have arrived, but the server did not answer.", "warning", { label: "Measure now", run: run });
      return;
    }
    localStorage.removeItem(KEPT);
    isSending = false;
    location.assign(`/desk/uploads/${upload.id}`);
  };

  const run = async () => {
    if (isSending) return;
    isSending = true;
    by("send").disabled = true;
    try {
      await send();
    } finally {
      isSending = false;
      by("send").disabled = false;
    }
  };

  // An upload that a closed tab left behind.
  const lookForRest = async () => {
    const id = localStorage.getItem(KEPT);
    if (!/^\d+$/.test(id || "")) return;
    const { status, answer } = await request("GET", `/api/v1/uploads/${id}`, null, null, null);
    if (status !== 200 || answer.finished) {
      if (status === 200 || status === 404) localStorage.removeItem(KEPT);
      return;
    }
    say(`Upload ${id} was not finished; ${count(answer.files.length, "file")} of it arrived. To go on, choose the same files again: only those that are missing are sent.`, "warning", {
      label: "Start another upload instead",
      run: () => {
        resumed = null;
        localStorage.removeItem(KEPT);
        lockSaid(false);
        by("queue-result").replaceChildren();
        if (queue.length === 0 && skipped.length === 0) by("queue").hidden = true;
      },
    });
    resumed = answer;
    form.elements.lens.value = answer.lens;
    for (const [name, value] of Object.entries(answer.conditions)) form.elements[name].value = value ?? "";
    showNewLens();
    lockSaid(true);
  };

  // Lens and conditions of an upload that is gone on with are those it was opened with; they can be put right later.
  const lockSaid = (isLocked) => {
    const said = ["lens", "distortion_correction", "breathing_compensation", "stabilisation", "target_distance_m", "closest_focus_m"];
    for (const name of said) form.elements[name].disabled = isLocked;
  };

  const showNewLens = () => {
    by("new-lens").hidden = text("lens") !== "new";
  };

  for (const id of ["files", "folder"]) by(id).addEventListener("change", (event) => fromInput(event.target));
  form.elements.lens.addEventListener("change", showNewLens);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    run();
  });
  const drop = by("drop");
  by("drop-hint").hidden = false;
  for (const kind of ["dragenter", "dragover"]) {
    drop.addEventListener(kind, (event) => {
      event.preventDefault();
      drop.classList.add("is-over");
    });
  }
  for (const kind of ["dragleave", "drop"]) drop.addEventListener(kind, () => drop.classList.remove("is-over"));
  drop.addEventListener("drop", (event) => {
    event.preventDefault();
    droppedFiles(event.dataTransfer).then(add).catch(() => say("The folder could not be read; choose it with the button instead.", "warning"));
  });
  window.addEventListener("beforeunload", (event) => {
    if (isSending) event.preventDefault();
  });
  showNewLens();
  lookForRest();
})();
