// What of a page can't be read where it stands: cut off, off the screen, over one another, or only
// by moving a table sideways; with all that is folded open. A list of sentences, empty where
// everything can be read.
() => {
  const folded = [...document.querySelectorAll("main details:not([open])")];
  folded.forEach((each) => { each.open = true; });
  const width = document.documentElement.clientWidth;
  const found = new Set();
  const HIDDEN = ".aside, .skip, .visually-hidden, .rows > thead, .marked > thead, .marked tr:not(.wrong, .odd), [hidden]";
  const MOVED = ".results";  // raw rows for an administrator
  const shown = (element) => {
    const style = getComputedStyle(element), box = element.getBoundingClientRect();
    return style.visibility !== "hidden" && box.width > 1 && box.height > 1 &&
      !element.closest(HIDDEN) && element.checkVisibility();
  };
  const named = (element) => `${element.tagName.toLowerCase()} '${(element.textContent || "").trim().slice(0, 60)}'`;
  const clipping = (element) => {
    for (let above = element; above && above !== document.body; above = above.parentElement) {
      const style = getComputedStyle(above);
      if (style.overflowX !== "visible") return [above, style];
    }
    return [null, null];
  };
  const texts = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode, element = node.parentElement;
    if (!node.textContent.trim() || element.closest("script, style, noscript, option, textarea, title, desc")) continue;
    if (!shown(element)) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    for (const box of range.getClientRects()) {
      if (box.width < 1 || box.height < 1) continue;
      texts.push({ node, element, box });
      const [above, style] = clipping(element);
      if (above && (style.overflowX === "hidden" || style.overflowX === "clip")) {
        const room = above.getBoundingClientRect();
        if (style.textOverflow !== "ellipsis" && (box.right > room.right + 1 || box.left < room.left - 1))
          found.add(`${named(element)} is cut off`);
      } else if (!above && (box.right > width + 1 || box.left < -1)) {
        found.add(`${named(element)} is off the screen`);
      }
    }
  }
  for (const text of document.querySelectorAll("svg text")) {
    const room = text.ownerSVGElement.getBoundingClientRect(), box = text.getBoundingClientRect();
    if (box.width && shown(text.ownerSVGElement) &&
        (box.right > room.right + 1 || box.left < room.left - 1 || box.bottom > room.bottom + 2 || box.top < room.top - 2))
      found.add(`${named(text)} reaches out of its picture`);
  }
  texts.sort((one, other) => one.box.top - other.box.top);
  texts.forEach((one, at) => {
    for (let next = at + 1; next < texts.length && texts[next].box.top < one.box.bottom - 2; next += 1) {
      const other = texts[next];
      if (other.element === one.element || clipping(one.element)[0] !== clipping(other.element)[0]) continue;
      const across = Math.min(one.box.right, other.box.right) - Math.max(one.box.left, other.box.left);
      const down = Math.min(one.box.bottom, other.box.bottom) - Math.max(one.box.top, other.box.top);
      if (across > 2 && down > 0.4 * Math.min(one.box.height, other.box.height))
        found.add(`${named(one.element)} and ${named(other.element)} overlap`);
    }
  });
  if (width < 700)
    for (const room of document.querySelectorAll(".scroll, .wide"))
      if (shown(room) && !room.querySelector(MOVED) && room.scrollWidth > room.clientWidth + 1)
        found.add(`${named(room)} is ${room.scrollWidth - room.clientWidth} px wider than the screen`);
  if (document.documentElement.scrollWidth > innerWidth) found.add("the page scrolls sideways");
  folded.forEach((each) => { each.open = false; });
  return [...found];
}
