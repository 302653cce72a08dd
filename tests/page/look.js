// Looks at an opened sheet and returns what is wrong with it, a sentence each.
(() => {
  const wrong = [];
  const say = (what, element) =>
    wrong.push(what + ': ' + (element ? (element.textContent || element.tagName).trim().slice(0, 80) : ''));
  const shown = e => e.getClientRects().length > 0;
  const box = e => e.getBoundingClientRect();

  // nothing sticks out of the page, nothing is cut
  if (document.documentElement.scrollWidth > window.innerWidth) say('the page is wider than the window');
  for (const e of document.querySelectorAll('main *')) {
    if (!shown(e) || e.closest('svg') || e.closest('.scroll')) continue;
    const b = box(e);
    if (b.right > window.innerWidth + 0.5 || b.left < -0.5) say('sticks out of the window', e);
    if (e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).display === 'block') say('cut', e);
  }
  if (window.innerWidth > 1000)
    for (const e of document.querySelectorAll('.scroll'))
      if (e.scrollWidth > e.clientWidth) say('a table is cut', e.querySelector('caption'));
  // pictures: text inside of the picture, no two texts over each other, readable
  for (const svg of document.querySelectorAll('svg')) {
    if (!shown(svg)) continue;
    const frame = box(svg), texts = [...svg.querySelectorAll('text')].map(t => [t, box(t)]);
    for (const [t, b] of texts) {
      if (b.left < frame.left - 1 || b.right > frame.right + 1 || b.top < frame.top - 1 ||
          b.bottom > frame.bottom + 1) say('picture text sticks out', t);
      // the height of a box is that of the line, about 1.16 times the type
      if (b.height && b.height < 11) say('picture text is ' + b.height.toFixed(1) + ' px high', t);
    }
    for (let i = 0; i < texts.length; i++)
      for (let k = i + 1; k < texts.length; k++) {
        const a = texts[i][1], b = texts[k][1];
        const x = Math.min(a.right, b.right) - Math.max(a.left, b.left);
        const y = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
        if (x > 1 && y > 3) say('picture texts overlap: ' + texts[k][0].textContent, texts[i][0]);
      }
    const title = svg.querySelector(':scope > title'), desc = svg.querySelector(':scope > desc');
    if (!title || !title.textContent.trim()) say('a picture without title', svg);
    if (!desc || desc.textContent.trim().length < 10) say('a picture without description', svg);
    if (svg.getAttribute('role') !== 'img') say('a picture without role', svg);
    if (document.querySelectorAll('#' + svg.id).length !== 1) say('id not unique: ' + svg.id, svg);
  }
  // html texts do not overlap: cells and blocks side by side
  for (const row of document.querySelectorAll('tr')) {
    const cells = [...row.children].map(box);
    for (let i = 1; i < cells.length; i++)
      if (cells[i].left < cells[i - 1].right - 1) say('cells overlap', row);
  }
  // tables and headings
  for (const table of document.querySelectorAll('table')) {
    if (!table.caption || !table.caption.textContent.trim()) say('a table without caption', table);
    for (const th of table.querySelectorAll('th')) if (!th.scope) say('a head without scope', th);
  }
  let level = 0;
  for (const h of document.querySelectorAll('h1,h2,h3,h4')) {
    const now = +h.tagName[1];
    if (now > level + 1) say('a heading skips a level', h);
    level = now;
  }
  if (document.querySelectorAll('h1').length !== 1) say('not one h1');
  // contrast, WCAG 2.1 relative luminance
  const parse = c => (c.match(/[\d.]+/g) || []).map(Number);
  const lum = ([r, g, b]) => {
    const f = v => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
    return 0.2126 * f(r) + 0.7152 * f(g) + 0.0722 * f(b);
  };
  const ground = e => {
    for (; e; e = e.parentElement) {
      const c = parse(getComputedStyle(e).backgroundColor);
      if (c.length === 3 || c[3] > 0) return c;
    }
    return [255, 255, 255];
  };
  let least = 99;
  for (const e of document.querySelectorAll('main *')) {
    if (!shown(e) || ![...e.childNodes].some(n => n.nodeType === 3 && n.data.trim())) continue;
    const style = getComputedStyle(e), svg = e.closest('svg');
    const a = lum(parse(svg ? style.fill : style.color)), b = lum(ground(svg ? svg.parentElement : e));
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    least = Math.min(least, ratio);
    if (ratio < 4.5) say('contrast ' + ratio.toFixed(2), e);
  }
  return {wrong: [...new Set(wrong)], contrast: least, scripts: document.scripts.length};
})()
