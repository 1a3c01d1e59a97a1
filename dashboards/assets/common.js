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
      Plotly.react(name, painted.data, painted.layout, { displayModeBar: false, responsive: true });
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
    const lines = ['series,x,y,words'];
    for (const trace of spec.data) {
      if (trace.hoverinfo === 'skip' && spec.data.some(other => other.name === trace.name && other.text)) continue;
      for (let i = 0; i < trace.x.length; i++) {
        const x = trace.x[i], at = typeof x === 'number' && !isNaN(x) ? new Date(x).toISOString().slice(0, 23).replace('T', ' ') : x;
        if (at === null || at === undefined) continue;
        const y = trace.y[i], named = spec.layout.yaxis.ticktext && spec.layout.yaxis.ticktext[y];
        lines.push([plainText(trace.name), String(at), named ? plainText(named) : y === null || Number.isNaN(y) ? '' : String(y), trace.text ? plainText(trace.text[i]) : ''].map(cell).join(','));
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
  return { query, unpack, paint, inks, figure, save, cell, onTheme, picture, drawing, plainText, thousands };
})();
