/* Live force at the rig: draws what a load cell writes, offers the peak of a pull as its reading,
   and hands over the trace of each pull to be kept. */
"use strict";

const UNNAMED = "samespool.at-the-rig.unnamed";
const CHOSEN = "samespool.load-cell";
/* Force that begins a pull, in newtons: below what the thinnest line holds, above a cell's noise. */
const LEAST_N = 2;
/* A load cell that shows more than this without load, in newtons, was not set to zero. */
const RESTS_N = 5;
const DRAWN = { width: 340, height: 150, columns: 170 };

const live = (() => {
  const panel = find("live");
  const words = panel.dataset;
  let lines = null;
  let catcher = new Catcher(Infinity);
  let clock = null;
  let filled = "";
  let waitsForDrawing = false;

  /* ---- the port ---- */

  async function connect() {
    complain("");
    try {
      const port = await navigator.serial.requestPort();
      await port.open({ baudRate: Number(find("live-baud").value), bufferSize: 8192 });
      lines = new Lines(port);
    } catch (failure) {
      /* Where nothing was chosen there is nothing to say. */
      if (failure.name !== "NotFoundError") complain(`${words.notOpened} ${failure.message}`);
      return;
    }
    catcher = new Catcher(LEAST_N / newtons(), catcher.over());
    clock = new Clock();
    connected(true);
    const silence = setTimeout(() => complain(words.silent), 4000);
    await lines.read((found, now) => heard(found, now) && clearTimeout(silence)).catch(() => complain(words.lost));
    clearTimeout(silence);
    if (catcher.cutOff()) complain(`${panel.querySelector(".error").textContent} ${words.cut}`);
    tellAndKeep();
    connected(false);
  }

  function connected(is) {
    find("live-connect").hidden = is;
    find("live-end").hidden = !is;
    find("live-baud").disabled = is;
    find("live-line").textContent = "";
    find("force").hidden = !is && !catcher.offered();
    find("force-now").textContent = "";
  }

  function complain(sentence) {
    const error = panel.querySelector(".error");
    error.textContent = sentence;
    error.hidden = !sentence;
    panel.open = panel.open || Boolean(sentence);
  }

  /* ---- what is heard ---- */

  function heard(found, now) {
    const numbers = found.map((line) => numberOf(line, Number(find("live-which").value)));
    clock.timesOf(found.length, now).forEach((at, index) => {
      const number = numbers[index];
      if (number && catcher.add({ at, force: number.force, written: number.written })) tellAndKeep();
    });
    const last = numbers.at(-1);
    find("live-line").textContent = `${found.at(-1).slice(0, 60)} → ${last ? last.written : words.nothing}`;
    if (last) find("force-now").textContent = `${last.written} ${session.unit}`;
    const rests = !catcher.began && Math.abs(catcher.zero ?? 0) * newtons() > RESTS_N ? words.rests : "";
    if (rests || panel.querySelector(".error").textContent === words.rests) complain(rests);
    if (last?.unit && last.unit !== session.unit) complain(words.otherUnit.replace("[written]", last.unit).replace("[unit]", session.unit));
    draw();
    return numbers.some((number) => number);
  }

  function tellAndKeep() {
    keepUnnamed();
    offer();
  }

  /* The peak goes into the field of the reading, unless something else was typed there. */
  function offer() {
    const trace = catcher.offered();
    const field = find("reading");
    find("force-forget").hidden = !trace;
    const isOver = catcher.over().length > 0;
    find("force-peak").textContent = trace ? (isOver ? words.caught : words.underWay).replace("[peak]", `${trace.peak.written} ${session.unit}`).replace("[seconds]", trace.seconds.toFixed(1)) : "";
    if (field.value !== filled) return;
    filled = isOver ? trace.peak.written : "";
    field.value = filled;
  }

  /* ---- what is drawn ---- */

  function draw() {
    if (waitsForDrawing) return;
    waitsForDrawing = true;
    requestAnimationFrame(() => {
      waitsForDrawing = false;
      const samples = catcher.waiting[0]?.samples || catcher.samples;
      if (samples.length > 1) drawn(samples);
    });
  }

  /* The highest and the lowest of each column, so that no peak is lost between two pixels. */
  function drawn(samples) {
    const [from, to] = [samples[0].at, samples.at(-1).at];
    const columns = new Map();
    let [low, high] = [0, 5 * catcher.least];
    for (const { at, force } of samples) {
      const column = Math.floor((DRAWN.columns - 1) * (at - from) / (to - from || 1));
      const ends = columns.get(column);
      columns.set(column, ends ? [Math.min(ends[0], force), Math.max(ends[1], force)] : [force, force]);
      low = Math.min(low, force);
      high = Math.max(high, force);
    }
    const x = (column) => (column * DRAWN.width / DRAWN.columns).toFixed(1);
    const y = (force) => (DRAWN.height - 4 - (DRAWN.height - 20) * (force - low) / (high - low)).toFixed(1);
    find("force-line").setAttribute("points", [...columns].flatMap(([column, ends]) => ends.map((force) => `${x(column)},${y(force)}`)).join(" "));
    find("force-top").textContent = `${high.toFixed(1)} ${session.unit}`;
    find("force-span").textContent = `${((to - from) / 1000).toFixed(1)} s`;
  }

  /* ---- what is kept ---- */

  /* The trace of the pull that is being saved: its key, or nothing where none was recorded. */
  function take() {
    const trace = catcher.take();
    filled = "";
    if (!trace) return "";
    const key = newKey();
    keptTraces.put(key, packed(trace));
    return key;
  }

  function packed({ samples, started_at }) {
    const start = samples[0].at;
    const time_s = [];
    for (const { at } of samples) {
      const seconds = Math.round(10 * (at - start)) / 10000;
      time_s.push(time_s.length && seconds <= time_s.at(-1) ? Math.round(10000 * time_s.at(-1) + 1) / 10000 : seconds);
    }
    return { time_s, force: samples.map((each) => each.force), started_at };
  }

  /* Pulls that were caught but not named yet, for when the page is left. A pull under way ends with
     the page, and can then only be said. */
  function keepUnnamed() {
    const over = catcher.over().map((trace) => ({ ...trace, highest: trace.samples.indexOf(trace.peak) }));
    const isUnderWay = catcher.began && !catcher.fallen;
    if (!over.length && !isUnderWay) return localStorage.removeItem(UNNAMED);
    if (!keptTraces.written(UNNAMED, JSON.stringify({ over, isUnderWay }))) complain(words.unkeptUnnamed);
    return undefined;
  }

  function takeUpUnnamed() {
    const left = JSON.parse(localStorage.getItem(UNNAMED) || "null");
    if (!left) return;
    catcher.waiting = left.over.map((trace) => ({ ...trace, peak: trace.samples[trace.highest] }));
    if (left.isUnderWay) complain(words.cut);
    keepUnnamed();
    find("force").hidden = !catcher.offered();
    offer();
    draw();
  }

  /* ---- what is chosen ---- */

  const choices = [find("live-baud"), find("live-which")];
  const chosen = JSON.parse(localStorage.getItem(CHOSEN) || "{}");
  for (const field of choices) {
    if (chosen[field.id]) field.value = chosen[field.id];
    field.addEventListener("change", () => localStorage.setItem(CHOSEN, JSON.stringify(Object.fromEntries(choices.map((each) => [each.id, each.value])))));
  }
  find("live-connect").addEventListener("click", () => (session.unit ? connect() : complain(words.needsUnit)));
  find("live-end").addEventListener("click", () => lines.close());
  find("force-forget").addEventListener("click", () => { catcher.forget(); tellAndKeep(); });
  addEventListener("pagehide", keepUnnamed);
  document.addEventListener("visibilitychange", keepUnnamed);
  panel.hidden = !("serial" in navigator);
  takeUpUnnamed();

  return {
    take,
    dropAll: () => { catcher.forgetAll(); tellAndKeep(); keptTraces.dropAll(); },
    next: tellAndKeep,
    peak: () => catcher.offered()?.peak.written || "",
    isUnnamed: () => catcher.over().length > 0,
  };
})();
