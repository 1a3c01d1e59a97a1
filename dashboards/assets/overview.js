// Search, filter, order and deep links over the entries that are already on the page.
'use strict';
(() => {
  const list = document.querySelector('.entries');
  const rows = [...list.querySelectorAll('.entry[data-v]')];
  const form = document.querySelector('form[role=search]');
  const words = [...form.querySelectorAll('[data-verdict]')];
  const clear = form.querySelector('.clear');
  const count = document.querySelector('.count');
  const more = document.querySelector('.more button');
  const first = Number(list.dataset.first);
  const texts = new Map();
  const DAY = 86400000, PORTION = 200;
  let shownMost = first;

  const textOf = row => {
    if (!texts.has(row)) texts.set(row, row.querySelector('.aside').textContent.toLowerCase() + ' ' + row.querySelector('.body').textContent.toLowerCase());
    return texts.get(row);
  };
  const iso = day => new Date(day * DAY).toISOString().slice(0, 10);
  const said = day => new Date(day * DAY).toLocaleDateString('en-GB', { day: 'numeric', month: 'short', year: 'numeric', timeZone: 'UTC' });

  function state() {
    return {
      q: form.q.value.trim().toLowerCase(),
      verdicts: words.filter(b => b.getAttribute('aria-pressed') === 'true').map(b => b.dataset.verdict),
      measurand: form.measurand.value,
      known: form.known.value,
      day: form.day.value ? Date.parse(form.day.value + 'T00:00:00Z') / DAY : null,
      sort: form.sort.value,
    };
  }

  function fits(row, s) {
    return (!s.verdicts.length || s.verdicts.includes(row.dataset.v))
      && (!s.measurand || row.dataset.m === s.measurand)
      && (!s.known || row.dataset.k === s.known)
      && (s.day === null || (' ' + row.dataset.d + ' ').includes(' ' + s.day + ' '))
      && s.q.split(/\s+/).every(word => !word || textOf(row).includes(word));
  }

  const orders = {
    '': (a, b) => rows.indexOf(a) - rows.indexOf(b),
    name: (a, b) => a.dataset.n.localeCompare(b.dataset.n, 'en', { numeric: true }),
    since: (a, b) => Number(b.dataset.s) - Number(a.dataset.s),
    measurand: (a, b) => a.dataset.m.localeCompare(b.dataset.m, 'en'),
  };
  let order = '';

  function sortRows(key) {
    if (key === order) return;
    order = key;
    const rank = new Map(rows.map((row, n) => [row, n]));
    const by = key ? orders[key] : () => 0;
    list.append(...[...rows].sort((a, b) => by(a, b) || rank.get(a) - rank.get(b)));
  }

  function show() {
    const s = state();
    sortRows(s.sort);
    let matching = 0, shown = 0;
    for (const row of list.children) {
      if (!row.dataset.v) continue;
      const fit = fits(row, s);
      matching += fit;
      const visible = fit && shown < shownMost;
      shown += visible;
      if (row.hidden === visible) row.hidden = !visible;
    }
    const filtered = s.q || s.verdicts.length || s.measurand || s.known || s.day !== null;
    count.textContent = !rows.length ? '' : !matching
      ? 'No point fits. Show all, or look for another word.'
      : filtered ? `${matching} of ${rows.length} points${s.day !== null ? ', event on ' + said(s.day) : ''}` : '';
    clear.hidden = !filtered;
    more.hidden = shown >= matching;
    more.textContent = matching - shown > PORTION ? `Show ${PORTION} more of the other ${(matching - shown).toLocaleString('en')}` : `Show the other ${matching - shown}`;
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
    history.replaceState(null, '', hash ? '#' + hash : location.pathname + location.search);
    shownMost = first;
    show();
  }

  function recall() {
    const id = location.hash.slice(1);
    const target = id && !id.includes('=') && document.getElementById(decodeURIComponent(id));
    if (target && target.classList.contains('entry')) {
      shownMost = Math.max(first, rows.indexOf(target) + 1);
      show();
      target.scrollIntoView();
      return;
    }
    if (target) { show(); return; }
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

  const fold = form.querySelector('.fold');
  fold.addEventListener('click', () => {
    const open = fold.getAttribute('aria-expanded') !== 'true';
    fold.setAttribute('aria-expanded', String(open));
    document.getElementById('finder').classList.toggle('folded', !open);
  });
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

  // The time line asks for plotly only when somebody opens it.
  Book.lazy('timeline', draw => {
    const script = document.createElement('script');
    script.src = 'assets/plotly.min.js';
    script.onload = draw;
    document.head.append(script);
  });
  recall();
})();
