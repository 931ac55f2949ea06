/* A load cell on a serial port: from the lines it writes to force over time, cut into pulls. Knows
   nothing of the page. */
"use strict";

const QUIET_MS = 2000;
const ZERO_EVERY_MS = 250;
const FEWEST_SAMPLES = 3;
/* More than a trace may have: from here on every second sample is left out, but never the peak. */
const MOST_SAMPLES = 20000;
/* Of the highest pull so far: a lower one is the handling of line. */
const SMALL_SHARE = 0.08;
const LONGEST_LINE = 200;
/* After noise on the wire: reading again at once would leave the page no time for anything else. */
const BETWEEN_FAILURES_MS = 20;
/* A pull that has risen by less than this many times what began it may only have swayed by noise:
   its fall is one once force stays low for so long. */
const HARDLY_RISEN = 4;
const STAYS_LOW_MS = 300;
const UNITS_WRITTEN = { n: "N", kn: "kN", lb: "lbf", lbs: "lbf", lbf: "lbf", kg: "kgf", kgf: "kgf", g: "gf", gf: "gf", oz: "ozf", ozf: "ozf" };

/* The number of a line that is asked for (0 the first, -1 the last), as written, with the unit
   behind it. A comma is a decimal mark where no point stands and nothing else could part columns. */
function numberOf(line, which) {
  const parted = line.includes(".") || (line.match(/,/g) || []).length > 1 && !/[;\t ]/.test(line.trim());
  const found = numbersIn(parted ? line.replaceAll(",", " ; ") : line);
  const numbers = found.length === 1 && which > 0 ? numbersIn(line.replaceAll(",", " ; ")) : found;
  const chosen = numbers.at(which);
  if (!chosen) return null;
  const written = chosen[0].replace(/\s/g, "").replace(/^\+/, "");
  const force = Number(written.replace(",", "."));
  const behind = chosen.input.slice(chosen.index + chosen[0].length).match(/^\s*([a-z]+)/i);
  return Number.isFinite(force) ? { force, written, unit: behind ? UNITS_WRITTEN[behind[1].toLowerCase()] || "" : "" } : null;
}

function numbersIn(line) {
  const number = "(?:[-+]\\s*)?(?:\\d+(?:[.,]\\d+)?|[.,]\\d+)(?:e[-+]?\\d+)?";
  const apart = [...line.matchAll(new RegExp(`(?<![\\w.,])${number}`, "gi"))];
  return apart.length ? apart : [...line.matchAll(new RegExp(number, "gi"))];
}

/* Times of lines that came at once: a port hands over several together, so they are spread over
   the time since the last, at most as far apart as lines have come on average. */
class Clock {
  timesOf(count, now) {
    const since = this.last === undefined ? Infinity : (now - this.last) / count;
    const step = Math.max(Math.min(since, this.step ?? since, 1000), 0);
    if (Number.isFinite(since)) this.step = this.step === undefined ? since : this.step + 0.1 * (since - this.step);
    this.last = now;
    return Array.from({ length: count }, (_, index) => now - step * (count - 1 - index));
  }
}

/* Catches pulls from a stream of samples. One begins where force leaves zero by `least`, and ends
   where it has been back for two seconds. */
class Catcher {
  constructor(least, waiting = []) {
    this.least = least;
    this.waiting = waiting;
    this.zero = null;
    this.highest = 0;
    this.settled = true;
    this.begin();
  }

  begin() {
    this.samples = [];
    this.began = false;
    this.peak = null;
    this.fallen = false;
    this.lastHigh = -Infinity;
    this.lastAbove = -Infinity;
  }

  /* What happened by this sample: "began", "fell", "rose" again, "ended" or nothing. */
  add(sample) {
    this.samples.push(sample);
    return this.began ? this.during(sample) : this.before(sample);
  }

  before(sample) {
    while (this.samples[0].at < sample.at - QUIET_MS) this.samples.shift();
    if (this.zero === null || sample.at > this.zeroedAt + ZERO_EVERY_MS) this.findZero(sample.at);
    const above = this.zero !== null && sample.force - this.zero > this.least;
    this.settled = this.settled || !above;
    if (!above || !this.settled) return "";
    this.began = true;
    this.peak = sample;
    this.lastAbove = sample.at;
    this.lastHigh = sample.at;
    return "began";
  }

  /* Zero follows downwards alone: a winch may turn so slowly that a rise looks like drift. */
  findZero(at) {
    if (this.samples.length < FEWEST_SAMPLES) return;
    this.zero = Math.min(this.zero ?? Infinity, middleOf(this.samples));
    this.zeroedAt = at;
  }

  during(sample) {
    if (this.samples.length > MOST_SAMPLES) this.samples = this.samples.filter((each, index) => index % 2 === 0 || each === this.peak);
    const risen = this.peak.force - this.zero;
    const wasFallen = this.fallen;
    if (sample.force > this.peak.force) {
      this.peak = sample;
      this.fallen = false;
    }
    if (sample.force - this.zero > Math.max(this.least, 0.05 * risen)) this.lastAbove = sample.at;
    if (sample.at - this.lastAbove > QUIET_MS) return this.end();
    if (sample.force - this.zero > 0.5 * risen) this.lastHigh = sample.at;
    if (this.fallen) return "";
    if (wasFallen) return "rose";
    const isLow = sample.force - this.zero <= 0.5 * risen;
    this.fallen = isLow && (risen > HARDLY_RISEN * this.least || sample.at - this.lastHigh > STAYS_LOW_MS);
    return this.fallen ? "fell" : "";
  }

  end() {
    const quiet = this.samples.filter((each) => each.at > this.lastAbove);
    const above = this.samples.filter((each) => each.force - this.zero > this.least);
    if (above.length >= FEWEST_SAMPLES) this.waiting.push(this.trace());
    for (const { risen } of this.waiting) this.highest = Math.max(this.highest, risen);
    this.waiting = this.waiting.filter(({ risen }) => risen >= SMALL_SHARE * this.highest);
    if (quiet.length >= FEWEST_SAMPLES) this.zero = middleOf(quiet);
    this.begin();
    return "ended";
  }

  trace() {
    const first = this.samples[0].at;
    return { samples: this.samples, peak: this.peak, risen: this.peak.force - this.zero, seconds: (this.peak.at - first) / 1000, started_at: new Date(performance.timeOrigin + first).toISOString() };
  }

  /* The oldest pull that was caught, or the one under way. */
  offered() {
    return this.waiting[0] || (this.began ? this.trace() : null);
  }

  /* Pulls whose recording is over, although it may go on until force was back for long enough. */
  over() {
    return this.began && this.fallen ? [...this.waiting, this.trace()] : this.waiting;
  }

  /* The stream has ended: a pull that has fallen is over; whether another was under way. */
  cutOff() {
    const isCut = this.began && !this.fallen;
    this.waiting = this.over();
    this.begin();
    return isCut;
  }

  forgetAll() {
    this.waiting = [];
    if (this.began) this.forget();
  }

  /* Drop what is offered; of the pull under way also its zero, which may have moved. */
  forget() {
    if (this.waiting.length) return this.waiting.shift();
    this.zero = null;
    return this.begin();
  }

  take() {
    if (this.waiting.length) return this.waiting.shift();
    if (!this.began) return null;
    const taken = this.trace();
    this.highest = Math.max(this.highest, taken.risen);
    this.settled = this.fallen;
    this.begin();
    return taken;
  }
}

function middleOf(samples) {
  const forces = samples.map((each) => each.force).sort((one, other) => one - other);
  return forces[Math.floor(forces.length / 2)];
}

/* The lines of a port, handed over as they came together, until it is closed or pulled out. */
class Lines {
  constructor(port) {
    this.port = port;
    this.rest = null;
  }

  async read(heard) {
    const decoder = new TextDecoder();
    let failed = null;
    while (this.port.readable && !this.closing) {
      const stream = this.port.readable;
      this.reader = this.port.readable.getReader();
      try {
        for (let read = await this.reader.read(); !read.done; read = await this.reader.read()) {
          const lines = this.whole(decoder.decode(read.value, { stream: true }));
          if (lines.length) heard(lines, performance.now());
        }
        return;
      } catch (failure) {
        /* Noise on the wire leaves the port readable, by another stream; a cable that was pulled out
           does not, and a stream that has failed once goes on failing. */
        if (!this.port.readable || stream === failed) throw failure;
        failed = stream;
        await new Promise((then) => setTimeout(then, BETWEEN_FAILURES_MS));
      } finally {
        this.reader.releaseLock();
      }
    }
  }

  /* Whole lines; what was written before the first end of a line is seldom one. */
  whole(text) {
    const lines = ((this.rest ?? "") + text).split(/[\r\n]+/);
    if (this.rest === null && lines.length > 1) lines.shift();
    else if (this.rest === null) return [];
    this.rest = lines.pop().slice(-LONGEST_LINE);
    return lines.filter((line) => line.trim());
  }

  async close() {
    this.closing = true;
    await this.reader.cancel().catch(() => {});
    await this.port.close().catch(() => {});
  }
}
