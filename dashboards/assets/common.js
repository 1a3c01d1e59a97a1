// Shared by both pages: the hash as a query, packed arrays, inks, saving files.  No request is ever made.
'use strict';
const Book = (() => {
  const query = () => new URLSearchParams(location.hash.slice(1));

  // The twin of dashboards/figures/pack.py: integers back to exactly the numbers that went in.
  function unpack(packed) {
    const text = atob(packed.data), bytes = new Uint8Array(text.length);
    for (let i = 0; i < text.length; i++) bytes[i] = text.charCodeAt(i);
    if (packed.type === 'f8') return new Float64Array(bytes.buffer);
    const whole = packed.type === 'i2' ? new Int16Array(bytes.buffer) : new Int32Array(bytes.buffer);
    const missing = packed.type === 'i2' ? -32768 : -2147483648;
    return Float64Array.from(whole, v => v === missing ? NaN : v / packed.divide + packed.add);
  }

  function paint(spec, ink) {
    if (typeof spec === 'string') return spec[0] === '@' ? ink(spec.slice(1)) : spec;
    if (Array.isArray(spec)) return spec.map(item => paint(item, ink));
    if (spec && typeof spec === 'object' && !ArrayBuffer.isView(spec)) {
      return Object.fromEntries(Object.entries(spec).map(([key, item]) => [key, paint(item, ink)]));
    }
    return spec;
  }

  function inks() {
    const style = getComputedStyle(document.documentElement);
    return name => style.getPropertyValue('--' + name).trim();
  }

  function figure(id) {
    const spec = JSON.parse(document.getElementById(id).textContent);
    for (const trace of spec.data) {
      if (trace.y && trace.y.data && trace.y.type !== 'f8') trace.decimals = Math.round(Math.log10(trace.y.divide));
      for (const key of ['x', 'y']) if (trace[key] && trace[key].data) trace[key] = unpack(trace[key]);
    }
    return spec;
  }

  function save(name, type, content) {
    const link = document.createElement('a');
    link.href = URL.createObjectURL(new Blob([content], { type }));
    link.download = name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  }

  const cell = text => {
    const safe = /^[=+\-@\t\r]/.test(text) && !/^[+-]?[\d.]+(e[+-]?\d+)?$/i.test(text) ? "'" + text : text;
    return /[",\n]/.test(safe) ? '"' + safe.replaceAll('"', '""') + '"' : safe;
  };

  // Figures that are drawn when somebody opens them; plotly is fetched from beside this script by the first that needs it.
  const here = document.currentScript.src;
  function withPlotly(draw) {
    if (window.Plotly) { draw(); return; }
    const script = document.createElement('script');
    script.src = here.replace(/common\.js$/, 'plotly.min.js');
    script.onload = draw;
    document.head.append(script);
  }

  function lazy(holder) {
    const name = holder.dataset.figure;
    let spec = null;
    const draw = () => {
      const painted = paint(spec, inks());
      if (innerWidth < 640) {
        painted.layout.margin = { ...painted.layout.margin, l: Math.min(painted.layout.margin.l, 98) };
        const names = painted.layout.yaxis.ticktext;
        if (names) painted.layout.yaxis.ticktext = names.map(name => name.length > 14 ? '…' + name.slice(-13) : name);
      }
      Plotly.react(name, painted.data, painted.layout, { displayModeBar: false, responsive: true, showTips: false });
    };
    holder.addEventListener('toggle', () => {
      if (!holder.open || spec) return;
      spec = figure(name + '-figure');
      withPlotly(draw);
      onTheme(draw);
    });
    holder.querySelector('[data-rows]').addEventListener('click', () => save(name + '.csv', 'text/csv', rows(spec)));
    holder.querySelector('[data-save]').addEventListener('click', () => picture(document.getElementById(name), name, 'svg'));
    if ('open' in holder.dataset) holder.open = true;
  }

  // A figure's own numbers: one row a mark, with what stands on hover where it has words.
  function rows(spec) {
    const lines = ['series,x,y,words'], dated = spec.layout.xaxis.type === 'date';
    for (const trace of spec.data) {
      if (trace.hoverinfo === 'skip' && spec.data.some(other => other.name === trace.name && other.text)) continue;
      for (let i = 0; i < trace.x.length; i++) {
        const x = trace.x[i], at = dated && typeof x === 'number' && !isNaN(x) ? new Date(x).toISOString().slice(0, 23).replace('T', ' ') : x;
        if (at === null || at === undefined) continue;
        const y = trace.y[i], named = typeof y === 'number' && spec.layout.yaxis.ticktext?.[Math.round(y)];  // lanes of a row stand beside it
        lines.push([plainText(trace.name), String(at), named ? plainText(named) : y === null || Number.isNaN(y) ? '' : typeof y === 'number' ? String(Number(y.toPrecision(9))) : y, trace.text ? plainText(trace.text[i]) : ''].map(cell).join(','));
      }
    }
    return lines.join('\n') + '\n';
  }
  const plainText = text => String(text).replaceAll('&lt;', '<').replaceAll('&gt;', '>').replaceAll('&amp;', '&');

  // A drawing whose colours come from the style sheet, with those colours written into it and paper under it.
  function drawing(svg, name) {
    const copy = svg.cloneNode(true), from = [svg, ...svg.querySelectorAll('*')], to = [copy, ...copy.querySelectorAll('*')];
    from.forEach((node, i) => {
      const style = getComputedStyle(node);
      for (const key of ['fill', 'stroke', 'stroke-width', 'stroke-dasharray', 'opacity', 'font', 'text-anchor', 'vector-effect']) to[i].style.setProperty(key, style.getPropertyValue(key));
    });
    copy.style.background = inks()('sheet');
    save(name + '.svg', 'image/svg+xml', new XMLSerializer().serializeToString(copy));
  }

  // Pictures get paper under them, so that they can be read wherever they are pasted.
  function picture(plot, name, format) {
    const layout = { ...plot.layout, paper_bgcolor: inks()('sheet') };
    Plotly.downloadImage({ data: plot.data, layout }, { format, filename: name, width: 1400, height: plot.offsetHeight, scale: format === 'png' ? 2 : 1 });
  }

  // ---- tables: every heading sorts, by the number a cell carries, or by what its text says -----------------
  const MONTHS = ['Jan', 'Feb', 'Mar', 'Apr', 'May', 'Jun', 'Jul', 'Aug', 'Sep', 'Oct', 'Nov', 'Dec'];
  const SECONDS = { d: 86400, h: 3600, min: 60, s: 1 };

  // A cell as a number: a date as its instant, a span in seconds, a figure as it is; NaN for words.
  function figureOf(text) {
    const date = text.match(/^(\d{1,2}) ([A-Z][a-z]{2}) (\d{4})(?:, (\d\d):(\d\d))?/);
    if (date) return Date.UTC(Number(date[3]), MONTHS.indexOf(date[2]), Number(date[1]), Number(date[4] ?? 0), Number(date[5] ?? 0));
    const iso = text.match(/^(\d{4})-(\d\d)-(\d\d)(?:[ T](\d\d):(\d\d)(?::(\d\d(?:\.\d+)?))?)?Z?$/);
    if (iso) return Date.UTC(iso[1], iso[2] - 1, iso[3], iso[4] ?? 0, iso[5] ?? 0) + Number(iso[6] ?? 0) * 1000;
    const spans = [...text.matchAll(/([\d.]+) (d|h|min|s)(?![\w/])/g)];
    if (spans.length && /^[\d.]/.test(text)) return spans.reduce((sum, [, count, unit]) => sum + Number(count) * SECONDS[unit], 0);
    const found = text.match(/^(?:over |under )?([+-]?\d[\d.]*)(?!\w)/);
    return found ? Number(found[1]) : NaN;
  }

  // What a column is sorted by: numbers where every cell that says something has one, else its words.
  function sortKeys(rows, column) {
    const cells = rows.map(row => row.cells[column]);
    if (cells.every(cell => cell?.dataset.value !== undefined)) return cells.map(cell => Number(cell.dataset.value));
    const texts = cells.map(cell => (cell?.textContent ?? '').trim().replace(/[\u202f\u2060]/g, '').replaceAll('\u00a0', ' ').replaceAll('−', '-'));
    const silent = text => text === '' || text === '–';
    const figures = texts.map(figureOf);
    if (texts.every((text, n) => silent(text) || !Number.isNaN(figures[n])) && !texts.every(silent)) return figures.map(f => Number.isNaN(f) ? -Infinity : f);
    return texts;
  }

  const compared = (a, b) => typeof a === 'number' ? a - b || 0 : a.localeCompare(b, 'en', { numeric: true });

  function sortable(table) {
    const body = table.tBodies[0], heads = [...table.tHead.rows[0].cells];
    if (body.rows.length < 2) return;
    const first = [...body.rows];
    const sort = (head, column) => {
      const keys = new Map(first.map((row, n) => [row, n])), by = sortKeys(first, column), was = head.getAttribute('aria-sort');
      const down = was ? was === 'ascending' : typeof by[0] === 'number';
      for (const other of heads) other.removeAttribute('aria-sort');
      head.setAttribute('aria-sort', down ? 'descending' : 'ascending');
      body.append(...[...first].sort((a, b) => compared(by[keys.get(a)], by[keys.get(b)]) * (down ? -1 : 1) || keys.get(a) - keys.get(b)));
    };
    heads.forEach((head, column) => {
      const button = document.createElement('button');
      button.type = 'button';
      button.append(...head.childNodes);
      head.append(button);
      button.addEventListener('click', () => sort(head, column));
    });
    table.classList.toggle('long', body.rows.length >= 8);
  }
  for (const table of document.querySelectorAll('main table')) sortable(table);

  // Where the page is narrow, buttons of class fold show and hide what they name; the links within the page are one.
  const nav = document.querySelector('.head nav');
  if (nav) {
    const button = document.createElement('button');
    Object.assign(button, { type: 'button', className: 'fold', textContent: nav.getAttribute('aria-label') });
    button.setAttribute('aria-expanded', 'false');
    button.setAttribute('aria-controls', nav.id = 'within');
    nav.before(button);
    nav.classList.add('folded');
  }
  for (const button of document.querySelectorAll('.fold')) button.addEventListener('click', () => {
    const open = button.getAttribute('aria-expanded') !== 'true';
    button.setAttribute('aria-expanded', String(open));
    document.getElementById(button.getAttribute('aria-controls')).classList.toggle('folded', !open);
  });

  // A count with narrow spaces, as the pages write it.
  const thousands = count => count.toLocaleString('en').replaceAll(',', '\u202f');

  const onTheme = redraw => matchMedia('(prefers-color-scheme: dark)').addEventListener('change', redraw);
  for (const holder of document.querySelectorAll('[data-figure]')) lazy(holder);
  return { query, unpack, paint, inks, figure, save, cell, onTheme, picture, drawing, plainText, thousands, sortable };
})();
