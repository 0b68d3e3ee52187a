// What a page has to keep for everybody (WCAG 2.2: 1.1.1, 1.3.1, 1.4.3, 1.4.10, 2.5.8, 4.1.2). Returns what is wrong with it.
const wrong = [];
const short = e => e.outerHTML.replace(/\s+/g, ' ').slice(0, 140);
const shown = e => {
  const box = e.getBoundingClientRect();
  return box.width > 0 && box.height > 0 && e.checkVisibility({ visibilityProperty: true });
};

// Every control has a name and is large enough for a thumb.
for (const e of document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea, summary')) {
  if (!shown(e)) continue;
  const labels = e.labels ? [...e.labels].map(l => l.textContent).join(' ') : '';
  const alts = [...e.querySelectorAll('img')].map(i => i.alt).join(' ');
  const name = [e.getAttribute('aria-label'), labels, e.matches('input, select, textarea') ? '' : e.textContent, alts, e.title].join('');
  if (!name.trim()) wrong.push('no name: ' + short(e));
  const box = (e.closest('label.check') ?? e).getBoundingClientRect();
  const inSentence = e.matches('a') && getComputedStyle(e).display === 'inline' && e.closest('p, li') && e.closest('p, li').textContent.trim() !== e.textContent.trim();
  if (!inSentence && (box.width < 24 || box.height < 24)) wrong.push(`only ${Math.round(box.width)} x ${Math.round(box.height)}: ` + short(e));
}

// Text stands out from its ground.
const parts = c => (c.match(/[\d.]+/g) ?? []).map(Number);
const over = (c, ground) => { const [r, g, b, a = 1] = c; return [r, g, b].map((v, i) => v * a + ground[i] * (1 - a)); };
const light = c => {
  const [r, g, b] = c.map(v => v / 255).map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
};
const contrast = (a, b) => { const [x, y] = [light(a), light(b)].sort((p, q) => q - p); return (x + 0.05) / (y + 0.05); };
const page = parts(getComputedStyle(document.body).backgroundColor);
const ground = e => {
  const layers = [];
  for (let at = e; at; at = at.parentElement) {
    const c = parts(getComputedStyle(at).backgroundColor);
    if (c.length === 3 || c[3] > 0) layers.push(c);
    if (c.length === 3 || c[3] === 1) break;
  }
  return layers.reverse().reduce((below, c) => over(c, below), page.slice(0, 3));
};
let texts = 0;
const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
while (walker.nextNode()) {
  const node = walker.currentNode, e = node.parentElement;
  if (!node.data.trim() || e.closest('script, style, title, desc, datalist, select') || !e.checkVisibility({ visibilityProperty: true })) continue;
  const style = getComputedStyle(e), drawing = e.closest('svg');
  let front = parts(style.color), back = ground(e);
  if (drawing) {
    // Letters on a badge stand on the badge.
    if (e.closest('.course-on-split') || !drawing.querySelector('.course-ground')) continue;
    front = parts(style.fill);
    back = parts(getComputedStyle(drawing.querySelector('.course-ground')).fill);
  }
  texts += 1;
  const ratio = contrast(over(front, back), back);
  if (ratio < 4.5) wrong.push(`contrast ${ratio.toFixed(2)}: "${node.data.trim().slice(0, 40)}" ` + short(e));
}
if (texts === 0) wrong.push('no text at all');

for (const e of document.querySelectorAll('img:not([alt])')) wrong.push('no words for: ' + short(e));
for (const e of document.querySelectorAll('[id]')) {
  if (document.querySelectorAll('#' + CSS.escape(e.id)).length > 1) wrong.push('the same id twice: ' + e.id);
}
if (document.documentElement.scrollWidth > innerWidth) wrong.push(`scrolls sideways: ${document.documentElement.scrollWidth} of ${innerWidth}`);
if (innerWidth !== 360) wrong.push(`not at phone width: ${innerWidth}`);
if (document.querySelectorAll('h1').length !== 1) wrong.push('not one h1');
if (!document.documentElement.lang) wrong.push('no language');
if (!document.title) wrong.push('no title');
return wrong;
