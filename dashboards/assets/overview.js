// Search, filter, order and deep links over the entries that are already on the page.
'use strict';
(() => {
  const list = document.querySelector('.entries');
  const rows = [...list.querySelectorAll('.entry[data-v]')];
  const form = document.querySelector('form[role=search]');
  const words = [...form.querySelectorAll('[data-verdict]')];
  const clear = form.querySelector('.clear');
  const count = document.querySelector('.count');
  const more = document.querySelector('.more button'), onPaper = document.querySelector('.left-out');
  const first = Number(list.dataset.first);
  const DAY = 86400000, PORTION = 200, SEEN = 3, REST = 120, PAUSE = 400;
  let shownMost = first;

  // What is asked of a row, read from the page once: a key pressed must not wait for it.
  const facts = rows.map((row, n) => ({ row, n, v: row.dataset.v, m: row.dataset.m, k: row.dataset.k, days: ` ${row.dataset.d} `, text: null }));
  const textOf = f => f.text ?? (f.text = (f.row.querySelector('.aside').textContent + ' ' + f.row.querySelector('.body').textContent).toLowerCase());
  let gathered = 0;
  function gather() {
    for (const end = Math.min(gathered + 100, facts.length); gathered < end; gathered++) textOf(facts[gathered]);
    if (gathered < facts.length) setTimeout(gather, 20);
  }

  const iso = day => new Date(day * DAY).toISOString().slice(0, 10);
  const said = day => new Date(day * DAY).toLocaleDateString('en-GB', { day: 'numeric', month: 'short', year: 'numeric', timeZone: 'UTC' });

  function state() {
    return {
      q: form.q.value.trim().toLowerCase(),
      words: form.q.value.toLowerCase().split(/\s+/).filter(Boolean),
      verdicts: words.filter(b => b.getAttribute('aria-pressed') === 'true').map(b => b.dataset.verdict),
      measurand: form.measurand.value,
      known: form.known.value,
      day: form.day.value ? Date.parse(form.day.value + 'T00:00:00Z') / DAY : null,
      sort: form.sort.value,
    };
  }

  const fits = (f, s) => (!s.verdicts.length || s.verdicts.includes(f.v))
    && (!s.measurand || f.m === s.measurand)
    && (!s.known || f.k === s.known)
    && (s.day === null || f.days.includes(` ${s.day} `))
    && s.words.every(word => textOf(f).includes(word));

  const orders = {
    '': (a, b) => a.n - b.n,
    name: (a, b) => a.row.dataset.n.localeCompare(b.row.dataset.n, 'en', { numeric: true }),
    since: (a, b) => Number(b.row.dataset.s) - Number(a.row.dataset.s),
    measurand: (a, b) => a.m.localeCompare(b.m, 'en'),
  };
  let order = '', sorted = facts, matching = [], shown = 0;

  function sortRows(key) {
    if (key === order) return;
    order = key;
    sorted = [...facts].sort((a, b) => (orders[key] || orders[''])(a, b) || a.n - b.n);
  }

  // Few rows stay in the page, so that the browser need not walk over thousands that are hidden.  What no longer
  // fits is hidden at once; taking out is slow, so it waits for a pause and goes in portions.
  const held = new Set(facts);
  let sweeping = 0;
  function place(visible) {
    for (const f of held) if (f.row.hidden === visible.has(f)) f.row.hidden = !f.row.hidden;
    let last = null;
    for (const f of visible) { add(f, last); last = f; }
    clearTimeout(sweeping);
    if (held.size > visible.size + PORTION) sweeping = setTimeout(sweep, PAUSE);
  }

  // Shows a row behind another one, and puts it there if it is not.
  function add(f, last) {
    f.row.hidden = false;
    const there = held.has(f) && (!last || last.row.compareDocumentPosition(f.row) & Node.DOCUMENT_POSITION_FOLLOWING);
    held.add(f);
    if (!there) last ? last.row.after(f.row) : list.prepend(f.row);
  }

  function sweep() {
    const out = [...held].filter(f => f.row.hidden).slice(0, 40);
    for (const f of out) { f.row.remove(); held.delete(f); }
    if (out.length) sweeping = setTimeout(sweep);
  }

  // The rows that fit, at most `most` of them at once; says whether more are to come.
  function show(most = shownMost) {
    const s = state();
    sortRows(s.sort);
    matching = sorted.filter(f => fits(f, s));
    const visible = new Set(matching.slice(0, Math.min(most, shownMost)));
    place(visible);
    shown = visible.size;
    const filtered = s.words.length || s.verdicts.length || s.measurand || s.known || s.day !== null;
    count.textContent = !rows.length ? '' : !matching.length
      ? 'No point fits. Show all, or look for another word.'
      : filtered ? `${matching.length} of ${rows.length} points${s.day !== null ? ', event on ' + said(s.day) : ''}` : '';
    clear.hidden = !filtered;
    const left = matching.length - Math.min(shownMost, matching.length);
    more.hidden = left === 0;
    onPaper.textContent = left ? `${Book.thousands(left)} more points fit; they are on the screen and in tables/points.csv.` : '';
    more.textContent = left > PORTION ? `Show ${PORTION} more of the other ${Book.thousands(left)}` : `Show the other ${left}`;
  }

  // What a person sees comes in the frame of the key; the rows below it come when no key has followed, a few in a frame.
  // Until then the list keeps its height, so that what stands below it is not drawn for a moment, and the address waits.
  let turn = 0, resting = 0, address = null;
  function inPortions(settled) {
    const mine = ++turn;
    address = settled;
    list.setAttribute('aria-busy', 'true');
    show(SEEN);
    const next = () => {
      if (mine !== turn) return;
      address?.();
      address = null;
      for (const end = Math.min(shown + SEEN, shownMost, matching.length); shown < end; shown++) add(matching[shown], matching[shown - 1]);
      if (shown < Math.min(shownMost, matching.length)) requestAnimationFrame(() => setTimeout(next));
      else list.removeAttribute('aria-busy');
    };
    clearTimeout(resting);
    requestAnimationFrame(() => setTimeout(() => {  // a pause begins when the answer is on the screen
      if (mine === turn) resting = setTimeout(next, REST);
    }));
  }

  // Paper takes what the list would hold once it has come to rest.
  function settle() {
    turn++;
    clearTimeout(resting);
    address = null;
    list.removeAttribute('aria-busy');
    show();
  }

  function remember() {
    const s = state(), q = new URLSearchParams();
    if (s.q) q.set('q', form.q.value.trim());
    if (s.verdicts.length) q.set('verdict', s.verdicts.join(','));
    if (s.measurand) q.set('measurand', s.measurand);
    if (s.known) q.set('known', s.known);
    if (s.day !== null) q.set('day', s.day);
    if (s.sort) q.set('sort', s.sort);
    const hash = q.toString();
    shownMost = first;
    inPortions(() => history.replaceState(null, '', hash ? '#' + hash : location.pathname + location.search));
  }

  function recall() {
    settle();
    const id = location.hash.slice(1), named = !id.includes('=') && decodeURIComponent(id);
    const row = named && rows.find(r => r.id === named);
    if (row) {
      shownMost = Math.max(first, rows.indexOf(row) + 1);
      show();
      row.scrollIntoView();
      return;
    }
    if (named && document.getElementById(named)) { show(); return; }
    const q = Book.query();
    form.q.value = q.get('q') || '';
    const asked = (q.get('verdict') || '').split(',');
    for (const b of words) b.setAttribute('aria-pressed', String(asked.includes(b.dataset.verdict)));
    form.measurand.value = q.get('measurand') || '';
    form.known.value = q.get('known') || '';
    form.day.value = /^\d+$/.test(q.get('day') || '') ? iso(Number(q.get('day'))) : '';
    form.sort.value = q.get('sort') || '';
    shownMost = first;
    show();
    if (q.has('day')) document.getElementById('points').scrollIntoView();
  }

  form.addEventListener('submit', e => e.preventDefault());
  form.addEventListener('input', remember);
  for (const b of words) b.addEventListener('click', () => {
    b.setAttribute('aria-pressed', String(b.getAttribute('aria-pressed') !== 'true'));
    remember();
  });
  clear.addEventListener('click', () => {
    form.reset();
    for (const b of words) b.setAttribute('aria-pressed', 'false');
    remember();
    form.q.focus();
  });
  more.addEventListener('click', () => { shownMost += PORTION; show(); });
  addEventListener('hashchange', recall);
  addEventListener('beforeprint', () => {
    address?.();
    if (list.hasAttribute('aria-busy')) settle();
  });
  for (const target of document.querySelectorAll('[data-day]')) {
    target.addEventListener('click', () => { location.hash = 'day=' + target.dataset.day; });
  }

  // ---- the calendar as data and as one drawing ------------------------------------------------------
  function calendarRows() {
    const lines = ['day,what,events'];
    for (const rect of document.querySelectorAll('rect[data-day]')) {
      for (const part of rect.textContent.split(': ').slice(1).join(': ').split(', ')) {
        const found = part.match(/^(.*) (\d+)$/);
        if (found) lines.push([iso(Number(rect.dataset.day)), found[1], found[2]].map(Book.cell).join(','));
      }
    }
    return lines.join('\n') + '\n';
  }

  function calendarDrawing() {
    const svg = document.createElementNS(document.querySelector('svg').namespaceURI, 'svg'), names = [...document.querySelectorAll('.cal-words')], strokes = [...document.querySelectorAll('.cal-strokes')];
    const put = (tag, facts, text) => {
      const node = document.createElementNS(svg.namespaceURI, tag);
      for (const [key, value] of Object.entries(facts)) node.setAttribute(key, value);
      if (text) node.textContent = text;
      svg.append(node);
      return node;
    };
    svg.setAttribute('viewBox', `0 0 1200 ${names.length * 40 + 40}`);
    names.forEach((name, n) => {
      const path = strokes[n].querySelector('path'), days = strokes[n].viewBox.baseVal.width;
      put('text', { x: 8, y: n * 40 + 32 }, name.textContent);
      put('path', { d: path.getAttribute('d'), class: path.getAttribute('class'), style: path.getAttribute('style'), transform: `translate(190 ${n * 40 + 6}) scale(${1000 / days} 1)` });
    });
    for (const month of document.querySelectorAll('.cal-months span')) put('text', { x: 190 + parseFloat(month.style.left) * 10, y: names.length * 40 + 26 }, month.textContent);
    svg.style.cssText = 'position: absolute; left: -9999px; width: 1200px';
    document.body.append(svg);
    Book.drawing(svg, 'days');
    svg.remove();
  }
  for (const b of document.querySelectorAll('[data-calendar]')) b.addEventListener('click', () => {
    if (b.dataset.calendar === 'rows') Book.save('days.csv', 'text/csv', calendarRows());
    else calendarDrawing();
  });

  recall();
  setTimeout(gather, 200);
})();
