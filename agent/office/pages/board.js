/*
 * Draws the plots: each figure.plot from the rows of the table it names. Rows bear data-series, data-x,
 * data-y and, where they have it, data-goal, data-name, data-cut, data-apart. Nothing here makes a
 * number; without this script the tables say all.
 */
'use strict';

(function () {
  const dark = window.matchMedia('(prefers-color-scheme: dark)');
  const charts = [];

  function colour(name) {
    return getComputedStyle(document.documentElement).getPropertyValue('--' + name).trim();
  }

  /* Told apart by shape as well as by colour. */
  function looks() {
    return [
      { colour: colour('accent'), shape: 'circle' },
      { colour: colour('warn'), shape: 'triangle' },
      { colour: colour('dim'), shape: 'rect' },
      { colour: colour('good'), shape: 'rectRot' },
      { colour: colour('stop'), shape: 'star' },
    ];
  }

  function day(seconds) {
    return new Date(seconds * 1000).toISOString().slice(0, 10);
  }

  /* Called with the axis: hours where days would all be the same. */
  function when(seconds) {
    const text = new Date(seconds * 1000).toISOString();
    return this.max - this.min < 3 * 86400 ? text.slice(5, 16).replace('T', ' ') : text.slice(0, 10);
  }

  function read(table) {
    const points = [];
    for (const row of table.querySelectorAll('tr[data-series]')) {
      points.push({
        x: Number(row.dataset.x),
        y: Number(row.dataset.y),
        goal: row.dataset.goal === undefined ? null : Number(row.dataset.goal),
        series: row.dataset.series,
        name: row.dataset.name || '',
        cut: row.dataset.cut !== undefined,
        apart: row.dataset.apart !== undefined,
      });
    }
    points.sort((a, b) => a.x - b.x);
    return points;
  }

  /* Service since the cut falls to nothing at each cut. */
  function saw(points) {
    const out = [];
    for (const p of points) {
      out.push(p);
      if (p.cut) {
        out.push({ x: p.x, y: 0, name: 'cut' });
      }
    }
    return out;
  }

  function datasets(points) {
    const sets = [];
    const names = [...new Set(points.map((p) => p.series))];
    names.forEach((name, i) => {
      const look = looks()[i % 5];
      const mine = points.filter((p) => p.series === name);
      const line = mine.some((p) => p.cut) || name === 'served';
      sets.push({
        label: name,
        data: line ? saw(mine) : mine,
        showLine: line,
        borderColor: look.colour,
        backgroundColor: look.colour,
        borderWidth: 2,
        pointStyle: line ? 'line' : look.shape,
        pointRadius: (c) => (c.raw && c.raw.apart ? 8 : line ? 0 : 5),
        pointHoverRadius: 7,
        pointHitRadius: 8,
      });
    });
    const cuts = points.filter((p) => p.cut);
    if (cuts.length > 0) {
      sets.push({
        label: 'cut',
        data: cuts,
        showLine: false,
        borderColor: colour('stop'),
        backgroundColor: colour('stop'),
        pointStyle: 'triangle',
        pointRadius: 6,
      });
    }
    if (points.some((p) => p.goal !== null)) {
      sets.push({
        label: 'goal',
        data: points.filter((p) => p.goal !== null).map((p) => ({ x: p.x, y: p.goal })),
        showLine: true,
        stepped: 'after',
        borderColor: colour('ink'),
        backgroundColor: colour('ink'),
        borderDash: [6, 4],
        pointStyle: 'line',
        borderWidth: 1.5,
        pointRadius: 0,
      });
    }
    return sets;
  }

  function said(figure, item) {
    const raw = item.raw;
    const x = figure.dataset.plot === 'time' ? day(raw.x) : raw.x;
    const y = raw.y.toLocaleString('en', { maximumFractionDigits: 2 });
    return `${raw.name ? raw.name + ', ' : ''}${item.dataset.label}: ${y} (${x})`;
  }

  function axis(title, time, zero) {
    return {
      type: 'linear',
      beginAtZero: zero,
      grace: time ? 0 : '5%',
      title: { display: true, text: title, color: colour('dim') },
      grid: { color: colour('rule') },
      ticks: {
        color: colour('dim'),
        maxRotation: 0,
        autoSkipPadding: 16,
        callback: time ? when : (v) => Number(v).toLocaleString('en'),
      },
    };
  }

  function draw(figure) {
    const table = document.getElementById(figure.dataset.table);
    const points = table === null ? [] : read(table);
    if (points.length < 2) {
      return;
    }
    figure.hidden = false;
    charts.push(new Chart(figure.querySelector('canvas'), {
      type: 'scatter',
      data: { datasets: datasets(points) },
      options: {
        animation: false,
        responsive: true,
        maintainAspectRatio: false,
        scales: {
          x: axis(figure.dataset.xTitle, figure.dataset.plot === 'time', false),
          y: axis(figure.dataset.yTitle, false, points.some((p) => p.cut)),
        },
        plugins: {
          legend: { labels: { color: colour('ink'), usePointStyle: true } },
          tooltip: { callbacks: { label: (item) => said(figure, item) } },
        },
      },
    }));
  }

  function drawAll() {
    while (charts.length > 0) {
      charts.pop().destroy();
    }
    if (typeof Chart === 'undefined') {
      return;
    }
    for (const figure of document.querySelectorAll('figure.plot')) {
      draw(figure);
    }
  }

  drawAll();
  dark.addEventListener('change', drawAll);
  window.matchMedia('print').addEventListener('change', drawAll);
}());
