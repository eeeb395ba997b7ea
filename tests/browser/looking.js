// What is measured inside the page. Every function gives plain data; the tests judge it.
(() => {
  const words = (node) => node.textContent.replace(/\s+/g, " ").trim();
  const name = (node) => {
    const element = node.nodeType === Node.TEXT_NODE ? node.parentElement : node;
    return `<${element.tagName.toLowerCase()} ${element.className.baseVal ?? element.className}> ${words(node).slice(0, 60)}`;
  };
  const shown = (element) => element.checkVisibility({ visibilityProperty: true });

  function* texts() {
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    for (let node = walker.nextNode(); node; node = walker.nextNode()) {
      const parent = node.parentElement;
      if (!node.data.trim() || !shown(parent) || parent.closest("style, script, title, desc, defs")) continue;
      const range = document.createRange();
      range.selectNodeContents(node);
      const rects = [...range.getClientRects()].filter((rect) => rect.width > 0 && rect.height > 0);
      if (rects.length) yield { node, parent, rects };
    }
  }

  // A region that scrolls sideways by itself and that the keyboard reaches.
  const scrolls = (element) => ["auto", "scroll"].includes(getComputedStyle(element).overflowX);
  const reached = (element) => {
    for (let at = element; at; at = at.parentElement) {
      if (at.parentElement && scrolls(at) && at.tabIndex >= 0) return true;
    }
    return false;
  };

  function sticksOut() {
    const found = [];
    const out = (rect) => rect.right > document.documentElement.clientWidth + 0.5 || rect.left < -0.5;
    for (const element of document.body.querySelectorAll("*")) {
      if (!shown(element) || reached(element.parentElement)) continue;
      const rect = element.getBoundingClientRect();
      if (rect.width > 0 && rect.height > 0 && out(rect)) found.push(name(element));
      const cut = ["hidden", "clip"].includes(getComputedStyle(element).overflowX);
      if (cut && !(element instanceof SVGElement) && element.scrollWidth > element.clientWidth) {
        found.push(`cut off: ${name(element)}`);
      }
    }
    for (const { node, parent, rects } of texts()) {
      if (!reached(parent) && rects.some(out)) found.push(name(node));
    }
    return found;
  }

  function scrolledSideways() {
    window.scrollTo(1000, 0);
    const moved = window.scrollX;
    window.scrollTo(0, 0);
    return Math.max(moved, document.documentElement.scrollWidth - document.documentElement.clientWidth);
  }

  const scrollers = () =>
    [...document.body.querySelectorAll("*")].filter((element) => scrolls(element) && element.scrollWidth > element.clientWidth);

  // The same names in the order of the document and in the order of the Tab key can be held side by side.
  function numberFocusable() {
    const stops = '[tabindex="0"], a[href], button, input, select, textarea, summary';
    [...document.querySelectorAll(stops)].filter(shown).forEach((element, index) => { element.dataset.stop = String(index); });
    return {
      stops: [...document.querySelectorAll("[data-stop]")].map((element) => element.dataset.stop),
      scrolling: scrollers().map((element) => element.dataset.stop ?? `no stop: ${name(element)}`),
    };
  }

  function focused() {
    const element = document.activeElement;
    if (!element || element === document.body) return null;
    const style = getComputedStyle(element);
    const rect = element.getBoundingClientRect();
    return {
      stop: element.dataset.stop ?? `no stop: ${name(element)}`,
      outline: style.outlineStyle,
      width: parseFloat(style.outlineWidth),
      label: element.getAttribute("aria-label") ?? "",
      role: element.getAttribute("role") ?? "",
      seen: rect.bottom > 0 && rect.top < innerHeight,
    };
  }

  // Any colour as sRGB, drawn on a canvas: [red, green, blue, alpha], 0 to 1.
  const canvas = document.createElement("canvas").getContext("2d", { willReadFrequently: true });
  function rgba(colour, opacity) {
    canvas.clearRect(0, 0, 1, 1);
    canvas.fillStyle = "#000";
    canvas.fillStyle = colour;
    canvas.fillRect(0, 0, 1, 1);
    const [red, green, blue, alpha] = canvas.getImageData(0, 0, 1, 1).data;
    return [red / 255, green / 255, blue / 255, (alpha / 255) * opacity];
  }

  function opacity(element) {
    let product = 1;
    for (let at = element; at; at = at.parentElement) product *= parseFloat(getComputedStyle(at).opacity);
    return product;
  }

  // Colours behind a text, nearest first, to the first opaque one.
  function behindHtml(element) {
    const layers = [];
    for (let at = element; at; at = at.parentElement) {
      const style = getComputedStyle(at);
      if (style.backgroundImage !== "none") return null;
      const layer = rgba(style.backgroundColor, 1);
      if (layer[3] > 0) layers.push(layer);
      if (layer[3] >= 1) return layers;
    }
    return [...layers, [1, 1, 1, 1]]; // the canvas of a page is white
  }

  function filledAt(shape, x, y) {
    const style = getComputedStyle(shape);
    if (style.fill === "none" || style.visibility !== "visible") return null;
    if (!/^rgb|^color|^#/.test(style.fill)) return null;
    const local = new DOMPoint(x, y).matrixTransform(shape.getScreenCTM().inverse());
    return shape.isPointInFill(local) ? rgba(style.fill, parseFloat(style.fillOpacity) * opacity(shape)) : null;
  }

  function behindSvg(text, x, y) {
    const layers = [];
    const pile = document.elementsFromPoint(x, y);
    if (!pile.length) return null;
    for (const element of pile) {
      if (!(element instanceof SVGGeometryElement)) continue;
      if (text.compareDocumentPosition(element) & Node.DOCUMENT_POSITION_FOLLOWING) continue; // drawn above it
      const layer = filledAt(element, x, y);
      if (layer && layer[3] > 0) layers.push(layer);
      if (layer && layer[3] >= 1) return layers;
    }
    const below = behindHtml(text.ownerSVGElement.parentElement);
    return below && [...layers, ...below];
  }

  // Texts with their colour, their size on the screen and what lies behind them in one or several places. Texts that
  // are alike in all of it are counted together under the first one's name.
  function colours() {
    const found = new Map();
    for (const { node, parent, rects } of texts()) {
      const style = getComputedStyle(parent);
      const drawn = parent instanceof SVGElement;
      const scale = drawn ? Math.hypot(parent.getScreenCTM().a, parent.getScreenCTM().b) : 1;
      const paint = drawn ? rgba(style.fill, parseFloat(style.fillOpacity)) : rgba(style.color, 1);
      paint[3] *= opacity(parent);
      const places = rects.flatMap((rect) =>
        [0.1, 0.5, 0.9].map((part) => [rect.left + part * rect.width, rect.top + rect.height / 2]));
      const behind = drawn ? places.map(([x, y]) => behindSvg(parent, x, y)) : [behindHtml(parent)];
      const kind = {
        drawn, colour: paint, behind: [...new Set(behind.map((layers) => JSON.stringify(layers)))].map((text) => JSON.parse(text)),
        size: parseFloat(style.fontSize) * scale, weight: parseInt(style.fontWeight, 10),
        inside: rects.every((rect) => rect.left >= 0 && rect.right <= innerWidth),
      };
      const key = JSON.stringify(kind);
      if (!found.has(key)) found.set(key, { ...kind, name: name(node), count: 0 });
      found.get(key).count += 1;
    }
    return [...found.values()];
  }

  const outline = () => ({
    lang: document.documentElement.lang,
    title: document.title,
    mains: document.querySelectorAll("main, [role=main]").length,
    headings: [...document.querySelectorAll("h1, h2, h3, h4, h5, h6")].map((element) => [Number(element.tagName[1]), words(element)]),
    tables: [...document.querySelectorAll("table")].map((table) => ({
      caption: table.caption ? words(table.caption) : "",
      heads: table.querySelectorAll("th").length,
      scopes: [...table.querySelectorAll("th")].map((head) => head.scope),
    })),
  });

  const toPrint = () => ({
    headings: [...document.querySelectorAll("h1, h2, h3, h4, caption")].map((element) => element.innerText),
    rows: [...document.querySelectorAll("tbody tr")].map((row) => [...row.cells].map((cell) => cell.innerText).join(" ")),
    signature: [...document.querySelectorAll(".sign")].map((element) => (element.closest("section") ?? element).innerText),
    footer: document.querySelector("footer")?.textContent ?? "",
  });

  const outsideOfBdi = () =>
    [...texts()].filter(({ parent }) => !parent.closest("bdi, svg")).map(({ node }) => node.data);

  return { outsideOfBdi, sticksOut, scrolledSideways, numberFocusable, focused, colours, outline, toPrint };
})()
