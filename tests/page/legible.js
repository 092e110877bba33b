// What a person in the sun with gloves on would trip over, one line each: text under a contrast of 4.5 to 1
// (WCAG 2.2, 1.4.3), targets under 44 px (2.5.5), text cut off, buttons on one another, a page that is wider
// than the screen.
() => {
  const found = new Set();
  const linear = (v) => (v / 255 <= 0.04045 ? v / 255 / 12.92 : ((v / 255 + 0.055) / 1.055) ** 2.4);
  const luminance = ([r, g, b]) => 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b);
  const colour = (text) => {
    const [r, g, b, a = 1] = text.match(/[\d.]+/g).map(Number);
    return { rgb: [r, g, b], a };
  };
  const above = (element) => element.parentElement ?? element.getRootNode().host;
  const over = (top, a, ground) => ground.map((v, i) => v * (1 - a) + top[i] * a);
  // What an element shows may lie outside of what it paints, as the figure above a slider's knob does.
  const covers = (outer, inner) => {
    const [a, b] = [outer.getBoundingClientRect(), inner.getBoundingClientRect()];
    const [x, y] = [(b.left + b.right) / 2, (b.top + b.bottom) / 2];
    return a.left <= x && x <= a.right && a.top <= y && y <= a.bottom;
  };
  const ground = (element) => {
    const layers = [];
    for (let e = element; e; e = above(e)) {
      if (!covers(e, element)) continue;
      const layer = colour(getComputedStyle(e).backgroundColor);
      if (layer.a > 0) layers.unshift(layer);
      if (layer.a >= 1) break;
    }
    return layers.reduce((below, { rgb, a }) => over(rgb, a, below), [255, 255, 255]);
  };
  const elements = [];
  const gather = (root) => {
    for (const element of root.querySelectorAll("*")) {
      elements.push(element);
      if (element.shadowRoot) gather(element.shadowRoot);
    }
  };
  gather(document);
  const seen = (element) => {
    const { width, height, bottom, right } = element.getBoundingClientRect();
    const { visibility } = getComputedStyle(element);
    let opacity = 1;
    for (let e = element; e; e = above(e)) opacity *= getComputedStyle(e).opacity;
    // What is folded away keeps its size.
    const fold = element.closest("details:not([open])");
    if ((fold && !element.closest("summary")) || !element.checkVisibility()) return false;
    return width > 1 && height > 1 && visibility !== "hidden" && opacity > 0.05 && bottom > 0 && right > 0;
  };
  const name = (element) => (element.ariaLabel ?? element.textContent).trim().slice(0, 40);
  for (const element of elements.filter(seen)) {
    const style = getComputedStyle(element);
    const own = [...element.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim());
    if (own && !(element instanceof SVGElement) && !element.closest("[disabled], [aria-disabled=true]")) {
      let { rgb, a } = colour(style.color);
      for (let e = element; e; e = above(e)) a *= getComputedStyle(e).opacity;
      const below = ground(element);
      const [dark, light] = [luminance(over(rgb, a, below)), luminance(below)].sort((x, y) => x - y);
      const ratio = (light + 0.05) / (dark + 0.05);
      if (ratio < 4.5) found.add(`contrast ${ratio.toFixed(2)}: ${name(element)}`);
      const cut = element.scrollWidth > element.clientWidth + 2 && ["hidden", "clip"].includes(style.overflowX);
      if (cut && style.textOverflow !== "ellipsis") found.add(`cut: ${name(element)}`);
    }
    if (element.matches("button, a[href], input:not([type=file]), summary, [role=radio], [role=option]")) {
      const field = element.closest("[data-rac], label") ?? element;
      const [here, there] = [element.getBoundingClientRect(), field.getBoundingClientRect()];
      const [width, height] = [Math.max(here.width, there.width), Math.max(here.height, there.height)];
      if (width < 43.5 || height < 43.5) found.add(`${Math.round(width)} x ${Math.round(height)}: ${name(element)}`);
    }
  }
  // What is fixed to the screen floats over what can be scrolled from under it.
  const floats = (element) => {
    let e = element;
    while (!e.matches("[data-testid=stMain]") && getComputedStyle(e).position !== "fixed") e = above(e);
    return !e.matches("[data-testid=stMain]");
  };
  const buttons = elements.filter((e) => e.matches("[data-testid=stMain] button") && seen(e) && !floats(e));
  for (const [i, one] of buttons.entries()) {
    for (const other of buttons.slice(i + 1)) {
      const [a, b] = [one.getBoundingClientRect(), other.getBoundingClientRect()];
      const across = Math.min(a.right, b.right) - Math.max(a.left, b.left);
      const down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      if (across > 2 && down > 2) found.add(`on one another: ${name(one)}, ${name(other)}`);
    }
  }
  const main = document.querySelector("[data-testid=stMain]");
  if (main.scrollWidth > main.clientWidth + 1) found.add("wider than the screen");
  return [...found];
}
