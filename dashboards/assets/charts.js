/* Draw charts, hand back which mark was clicked, and give up the charts of places that were left. */
(function () {
  "use strict";

  const ENGINE = "/chart-engine.js";
  const HOW = { mode: "vega", actions: false, renderer: "svg", ast: true, tooltip: { theme: "layshaft" } };
  const drawn = new Map(); // what was drawn, by its place
  let engine = null;

  function chartEngine() {
    engine = engine || import(ENGINE).then(() => window.vegaEmbed);
    return engine;
  }

  /* Draw a compiled chart in its place; `picked` is told the number of a row whose mark is clicked. */
  async function draw(host, drawing, picked) {
    const embed = await chartEngine();
    if (!host.isConnected) { return; } // the page was left before the chart was drawn
    forget(host);
    const chart = await embed(host, JSON.parse(drawing), HOW);
    drawn.set(host, chart);
    if ("picked" in chart.view.getState({ signals: (name) => name === "picked" }).signals) {
      chart.view.addSignalListener("picked", (_, value) => {
        const row = value && value.row && value.row[0];
        if (row !== undefined && row !== null) { picked(row); }
      });
    }
    host.dataset.drawn = "yes";
  }

  function forget(host) {
    if (drawn.has(host)) {
      drawn.get(host).finalize();
      drawn.delete(host);
    }
  }

  function forgetLeft() {
    for (const host of drawn.keys()) {
      if (!host.isConnected) { forget(host); }
    }
  }

  window.layshaft = Object.assign({}, window.layshaft, { draw: draw, forgetLeft: forgetLeft });
})();
