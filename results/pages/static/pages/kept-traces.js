/* Traces of pulls on the phone, until their session is sent: in the browser's cache, which has room
   for many but takes its time, and until they are there in its local storage, which keeps at once. */
"use strict";

const TRACES = "at-the-rig-traces";
const ON_THE_WAY = "samespool.at-the-rig.trace.";

const keptTraces = (() => {
  /* Of each key: "keeping", "kept" or "lost"; one that is lost to the phone stays in memory. */
  const states = new Map();
  const inMemory = new Map();
  let last = Promise.resolve();
  let changed = () => {};

  const address = (key) => new URL(`traces/${key}`, new URL(say.home, location)).href;

  /* One after the other, so that nothing is deleted before it was written. */
  function inTurn(work) {
    last = last.then(work, work);
    return last;
  }

  function become(key, state) {
    states.set(key, state);
    changed(key, state);
  }

  /* Kept when this returns, or, where local storage is full, once `changed` says so. */
  function put(key, trace) {
    const text = JSON.stringify(trace);
    const isOnTheWay = written(ON_THE_WAY + key, text);
    inMemory.set(key, trace);
    become(key, isOnTheWay ? "kept" : "keeping");
    move(key, text, isOnTheWay);
  }

  function move(key, text, isOnTheWay) {
    inTurn(async () => {
      await (await caches.open(TRACES)).put(address(key), new Response(text));
      localStorage.removeItem(ON_THE_WAY + key);
    }).then(
      () => moved(key, "kept"),
      () => moved(key, isOnTheWay ? "kept" : "lost"),
    );
  }

  function moved(key, state) {
    if (!states.has(key)) return;
    if (state === "kept") inMemory.delete(key);
    become(key, state);
  }

  function written(name, text) {
    try {
      localStorage.setItem(name, text);
      return true;
    } catch {
      return false;
    }
  }

  async function get(key) {
    if (inMemory.has(key)) return inMemory.get(key);
    const text = localStorage.getItem(ON_THE_WAY + key);
    if (text) return JSON.parse(text);
    const found = await (await caches.open(TRACES)).match(address(key));
    if (!found) become(key, "lost");
    return found?.json();
  }

  function drop(key) {
    states.delete(key);
    inMemory.delete(key);
    localStorage.removeItem(ON_THE_WAY + key);
    inTurn(async () => (await caches.open(TRACES)).delete(address(key))).catch(() => {});
  }

  function dropAll() {
    states.clear();
    inMemory.clear();
    for (const key of onTheWay()) localStorage.removeItem(ON_THE_WAY + key);
    inTurn(() => caches.delete(TRACES)).catch(() => {});
  }

  const onTheWay = () => Object.keys(localStorage).filter((name) => name.startsWith(ON_THE_WAY)).map((name) => name.slice(ON_THE_WAY.length));

  /* After a page was loaded: which of the traces that pulls name are here, and away with others. */
  async function look(named) {
    if (!("caches" in window)) return;
    for (const key of named) states.set(key, "keeping");
    for (const key of onTheWay()) {
      if (named.includes(key)) move(key, localStorage.getItem(ON_THE_WAY + key), true);
      else localStorage.removeItem(ON_THE_WAY + key);
    }
    if (!named.length) return inTurn(() => caches.delete(TRACES)).catch(() => {});
    const cache = await caches.open(TRACES);
    const used = named.map(address);
    for (const { url } of await cache.keys()) if (!used.includes(url) && !states.has(url.split("/").at(-1))) await cache.delete(url);
    for (const key of named) {
      const isHere = localStorage.getItem(ON_THE_WAY + key) !== null || (await cache.match(address(key)));
      become(key, isHere ? "kept" : "lost");
    }
    return undefined;
  }

  return { put, get, drop, dropAll, look, written, state: (key) => states.get(key), whenChanged: (then) => { changed = then; } };
})();
