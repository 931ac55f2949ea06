/* At the rig: what is asked about a reading before it is kept. */
"use strict";

/* A reading beyond these, times the middle of its series or the straight line, is asked about, as an
   upload is (results/intake/doubts.py); common practice, no source. */
const WILD_ABOVE = 2;
const WILD_BELOW = 0.25;
const ABOVE_STRAIGHT = 1.15;
const ALONE_ABOVE_STRAIGHT = 1.5;

/* What is asked about a reading before it is kept; empty where there is nothing to ask. */
function doubt(reading, mode) {
  const series = session.series[session.current];
  const value = number(reading);
  if (value === null || mode === "void") return "";
  const middle = median(series.pulls.filter((pull) => pull.mode !== "void").map((pull) => number(pull.reading)));
  const times = middle ? value / middle : 1;
  if (times > WILD_ABOVE || times < WILD_BELOW) return say.wild.replace("[reading]", reading).replace("[times]", inTimes(times));
  if (value * newtons() > most_N()) return say.beyond.replace("[reading]", reading).replace("[most]", `${Number((most_N() / newtons()).toPrecision(3))} ${session.unit}`);
  const straight = series.kind === "join" ? straightMean(series) : null;
  const above = middle ? ABOVE_STRAIGHT : ALONE_ABOVE_STRAIGHT;
  if (straight && value / straight > above && !(middle / straight > above)) return say.above.replace("[reading]", reading).replace("[percent]", (100 * value / straight).toFixed(0));
  return "";
}

function median(values) {
  const sorted = values.filter((value) => value !== null).sort((one, other) => one - other);
  if (!sorted.length) return null;
  const half = Math.floor(sorted.length / 2);
  return sorted.length % 2 ? sorted[half] : (sorted[half - 1] + sorted[half]) / 2;
}

/* What the rig takes, or where that isn't known what any scale reads. */
function most_N() {
  return Number(find("at-rig").selectedOptions[0].dataset.capacityN || say.mostN);
}

function inTimes(times) {
  if (times < 0.01) return say.hundredth;
  return times < 10 ? Number(times.toPrecision(2)) : Math.round(times);
}
