// What a page must keep, looked at from inside it. Each function gives a list
// of complaints. The page itself runs no script: these are called by the tests.
({
  // Nothing reaches out of the page, is cut off, too small, or lies on other text.
  layout() {
    const out = [], width = document.documentElement.clientWidth;
    const say = (e, what) => out.push(`${what}: ${this.name(e)}`);
    const root = document.scrollingElement;
    if (root.scrollWidth > width) out.push(`the page is ${root.scrollWidth} wide, the view ${width}`);
    for (const e of document.body.querySelectorAll('*')) {
      if (this.decorative(e)) continue;
      const r = e.getBoundingClientRect();
      if (r.width > 0 && (r.right > width + 1 || r.left < -1)) say(e, `reaches from ${r.left.toFixed(0)} to ${r.right.toFixed(0)} of ${width}`);
      const s = getComputedStyle(e);
      if (!(e instanceof SVGElement) && s.overflowX !== 'visible' && (e.scrollWidth > e.clientWidth + 1 || e.scrollHeight > e.clientHeight + 1)) say(e, 'is cut off');
      if (this.ownText(e) && parseFloat(s.fontSize) < 9) say(e, `letters of ${s.fontSize}`);
    }
    for (const svg of document.querySelectorAll('svg')) out.push(...this.texts(svg));
    return out;
  },
  // Text of a chart lies within it and on no other text.
  texts(svg) {
    const out = [], box = svg.getBoundingClientRect();
    const all = [...svg.querySelectorAll('text')].map(e => ({e, r: e.getBoundingClientRect()}));
    for (const {e, r} of all) {
      if (r.left < box.left - 1 || r.right > box.right + 1 || r.top < box.top - 3 || r.bottom > box.bottom + 3) out.push(`lies outside its chart: ${this.name(e)}`);
    }
    const rows = all.sort((a, b) => a.r.top - b.r.top);
    rows.forEach((a, i) => {
      for (const b of rows.slice(i + 1)) {
        if (b.r.top >= a.r.bottom) break;
        const high = Math.min(a.r.bottom, b.r.bottom) - b.r.top, wide = Math.min(a.r.right, b.r.right) - Math.max(a.r.left, b.r.left);
        if (high > 3 && wide > 0.5) out.push(`lies on other text: ${this.name(a.e)} and ${this.name(b.e)}`);
      }
    });
    return out;
  },
  // WCAG 2.2, success criteria 1.4.3 (text) and 1.4.11 (shapes that mean something).
  contrast() {
    const out = [];
    for (const e of document.body.querySelectorAll('*')) {
      if (this.decorative(e)) continue;
      const s = getComputedStyle(e), svg = e instanceof SVGElement;
      if (this.ownText(e)) {
        const size = parseFloat(s.fontSize), large = size >= 24 || size >= 18.66 && s.fontWeight >= 700;
        this.compare(out, e, svg ? s.fill : s.color, large ? 3 : 4.5);
      } else if (svg && e.matches('.bar, .mark, .whisker, .limit, .axis')) {
        this.compare(out, e, s.stroke !== 'none' ? s.stroke : s.fill, 3);
      }
    }
    for (const e of document.querySelectorAll('defs .mark')) {
      const s = getComputedStyle(e);
      this.compare(out, e, s.stroke !== 'none' ? s.stroke : s.fill, 3);
    }
    return out;
  },
  compare(out, e, colour, least) {
    const ground = this.ground(e), front = this.over(this.parse(colour), ground);
    const [a, b] = [this.luminance(front), this.luminance(ground)].sort((x, y) => y - x);
    const ratio = (a + 0.05) / (b + 0.05);
    if (!(ratio >= least)) out.push(`contrast ${ratio.toFixed(2)}, at least ${least} is needed (${colour}): ${this.name(e)}`);
  },
  // The colour behind an element: all backgrounds on one another, on the canvas.
  ground(e) {
    const layers = [];
    for (let x = e; x; x = x.parentElement) layers.unshift(this.parse(getComputedStyle(x).backgroundColor));
    return layers.reduce((below, c) => this.over(c, below), [255, 255, 255, 1]);
  },
  parse(colour) {
    const m = colour.match(/^rgba?\((\d+), (\d+), (\d+)(?:, ([\d.]+))?\)$/);
    return m ? [+m[1], +m[2], +m[3], m[4] === undefined ? 1 : +m[4]] : [NaN, NaN, NaN, 1];
  },
  over(c, below) { return [0, 1, 2].map(i => c[3] * c[i] + (1 - c[3]) * below[i]).concat(1); },
  // Relative luminance as WCAG 2.2 defines it.
  luminance(c) {
    const [r, g, b] = c.slice(0, 3).map(v => v / 255).map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  },
  // Whoever hears the page gets it all.
  spoken() {
    const out = [];
    if (!document.documentElement.lang) out.push('the page has no language');
    if (!document.title) out.push('the page has no title');
    if (!document.querySelector('h1')) out.push('the page has no first heading');
    let level = 0;
    for (const h of document.querySelectorAll('h1, h2, h3, h4')) {
      const own = +h.tagName[1];
      if (own > level + 1) out.push(`a heading of level ${own} after one of ${level}: ${this.name(h)}`);
      level = own;
    }
    for (const e of document.querySelectorAll('svg, img, canvas')) {
      if (e.closest('[aria-hidden=true]')) continue;
      const ids = (e.getAttribute('aria-labelledby') || '').split(' ').filter(x => x);
      const text = (e.getAttribute('aria-label') || '') + ids.map(id => (document.getElementById(id) || {}).textContent || '').join(' ') + (e.alt || '');
      if (e.getAttribute('role') !== 'img' && e.tagName !== 'IMG') out.push(`a chart is no img: ${this.name(e)}`);
      if (text.trim().length < 10) out.push(`a chart has no text alternative: ${this.name(e)}`);
    }
    for (const t of document.querySelectorAll('table')) {
      if (!t.caption || !t.caption.textContent.trim()) out.push('a table has no caption');
      if (!t.querySelector('th[scope]')) out.push('a table has no headings');
    }
    const ids = [...document.querySelectorAll('[id]')].map(e => e.id);
    ids.filter((id, i) => ids.indexOf(id) !== i).forEach(id => out.push(`the id ${id} stands twice`));
    return out;
  },
  // The page runs nothing and refers to nothing outside itself.
  alone() {
    const out = [];
    for (const e of document.querySelectorAll('*')) {
      if (['SCRIPT', 'IFRAME', 'OBJECT', 'EMBED', 'LINK', 'BASE', 'FORM'].includes(e.tagName.toUpperCase())) out.push(`holds a ${e.tagName}`);
      for (const a of e.attributes) {
        if (a.name.startsWith('on')) out.push(`runs ${a.name}: ${this.name(e)}`);
        if (['src', 'href', 'xlink:href', 'action', 'srcset'].includes(a.name) && !a.value.startsWith('#')) out.push(`refers to ${a.value}`);
      }
    }
    return out;
  },
  // The page runs nothing, has its style, and leads to its own server only.
  served() {
    const out = [];
    for (const e of document.querySelectorAll('*')) {
      if (['SCRIPT', 'IFRAME', 'OBJECT', 'EMBED', 'LINK', 'BASE'].includes(e.tagName.toUpperCase())) out.push(`holds a ${e.tagName}`);
      if (e.tagName === 'FORM' && e.method !== 'get') out.push(`sends a form by ${e.method}`);
      if (e.tagName === 'STYLE' && !e.sheet) out.push('its style was refused');
      for (const a of e.attributes) {
        if (a.name.startsWith('on') || a.name === 'style') out.push(`holds ${a.name}: ${this.name(e)}`);
        if (!['src', 'href', 'xlink:href', 'action', 'srcset'].includes(a.name)) continue;
        if (!a.value.startsWith('#') && (a.value.startsWith('/') || new URL(a.value, location.href).origin !== location.origin)) out.push(`refers to ${a.value}`);
      }
    }
    return out;
  },
  // The highest thing that can't be broken over two pages.
  tallest() {
    return Math.max(0, ...[...document.querySelectorAll('svg, tr, li > div, figure')].filter(e => e.tagName !== 'FIGURE' || getComputedStyle(e).breakInside === 'avoid').map(e => e.getBoundingClientRect().height));
  },
  decorative(e) { return e.closest('[aria-hidden=true]') !== null || e.closest('title, desc') !== null || getComputedStyle(e).display === 'none'; },
  ownText(e) { return [...e.childNodes].some(n => n.nodeType === Node.TEXT_NODE && n.textContent.trim() !== ''); },
  name(e) { return `<${e.tagName.toLowerCase()}${e.getAttribute('class') ? ' ' + e.getAttribute('class') : ''}> ${e.textContent.trim().slice(0, 40)}`; },
})
