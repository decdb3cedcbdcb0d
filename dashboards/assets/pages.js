/* What the browser does itself: draw charts, hand back what was picked, fit tables, move the focus. */
(function () {
  "use strict";

  const ENGINE = "/chart-engine.js";
  const PATIENCE = 120; // frames to wait for a place to be there
  const AHEAD = "500px 0px"; // how far beyond the screen a section is filled
  const BREATH = 150; // milliseconds between two looks whether there is time to fill a section nobody came near yet
  const NARROW = 640; // pixels, below which a table keeps only its first columns
  const views = new Map(); // drawn charts by their place
  const told = new WeakMap(); // what each section on the page was answered with last
  let engine = null;
  let pickedNow = false;

  function chartEngine() {
    engine = engine || import(ENGINE).then(() => window.vegaEmbed);
    return engine;
  }

  function mark(id) {
    return id.section.split("#")[1];
  }

  function whenThere(find, frames = PATIENCE) {
    return new Promise((found) => {
      const look = (left) => {
        const place = find();
        if (place || left === 0) { found(place); } else { requestAnimationFrame(() => look(left - 1)); }
      };
      look(frames);
    });
  }

  function forget(key) {
    if (views.has(key)) {
      views.get(key).finalize();
      views.delete(key);
    }
  }

  function forgetLeft() {
    for (const [key, drawn] of views) {
      if (!drawn.host.isConnected) { forget(key); }
    }
  }

  function listen(drawn, id, search) {
    const signals = drawn.view.getState({ signals: (name) => name === "picked" }).signals;
    if (!("picked" in signals)) { return; }
    drawn.view.addSignalListener("picked", (_, value) => {
      const row = value && value.row && value.row[0];
      if (row !== undefined && row !== null) {
        pickedNow = true;
        window.dash_clientside.set_props({ part: "picked", section: id.section }, { data: { row: row, search: search } });
      }
    });
  }

  async function drawOne(spec, place, id, search) {
    const key = id.section + "/" + place;
    const selector = "#" + CSS.escape(mark(id)) + " .chart[data-place='" + place + "']";
    const embed = await chartEngine();
    const host = await whenThere(() => document.querySelector(selector));
    forget(key);
    if (!host) { return; } // the page was left before the chart was drawn
    const drawn = await embed(host, spec, { actions: false, renderer: "svg", ast: true, tooltip: { theme: "layshaft" } });
    views.set(key, { host: host, finalize: drawn.finalize });
    listen(drawn, id, search);
    host.dataset.drawn = "yes";
  }

  /* Sections are filled when they come near the screen; the others one by one when there is time, so that paper,
     the browser's own search and those who jump ahead find them too. `near` says where a section is, `wanted` that it
     is to be filled, `whole` that it is. */
  const watcher = new IntersectionObserver((seen) => {
    seen.forEach((entry) => {
      const section = entry.target;
      section.dataset.near = entry.isIntersecting ? "yes" : "no";
      if (entry.isIntersecting) { want(section); }
    });
    fillInTime();
  }, { rootMargin: AHEAD });

  function want(section) {
    if (section.dataset.wanted) { return; }
    section.dataset.wanted = "yes";
    window.dash_clientside.set_props({ part: "wanted", section: section.dataset.section }, { data: Date.now() });
  }

  /* Take away what a section showed of another view. */
  function empty(section, id) {
    delete section.dataset.wanted;
    section.querySelectorAll(".chart").forEach((host) => {
      forget(id.section + "/" + host.dataset.place);
      host.replaceChildren();
      delete host.dataset.drawn;
    });
  }

  let looking = false;
  function fillInTime() {
    if (looking) { return; }
    looking = true;
    setTimeout(() => {
      looking = false;
      const left = document.querySelector(".section[data-section]:not([data-wanted])");
      if (!left) { return; }
      const busy = document.querySelector("#page .waiting, .section[data-wanted]:not([data-whole])");
      if (!busy) { want(left); }
      fillInTime();
    }, BREATH);
  }

  async function makeWhole(section, specs, id) {
    const search = specs.search || "";
    try {
      await Promise.all(specs.charts.map((spec, place) => drawOne(spec, place, id, search)));
      if (specs.table) { await whenThere(() => section.querySelector(".rest .ag-row")); }
    } finally { // a drawing that failed is told on the console, and holds up no other section
      if (told.get(section) === specs) { section.dataset.whole = "yes"; }
    }
  }

  /* Return what stands below a section's charts, and draw these, where the section is wanted. */
  function fill(specs, _, id) {
    forgetLeft();
    const section = document.getElementById(mark(id));
    if (!section) { return []; }
    watcher.observe(section);
    if (!specs) { return []; }
    if (told.get(section) !== specs) {
      told.set(section, specs);
      delete section.dataset.whole;
      if (section.dataset.near !== "yes") { empty(section, id); }
      fillInTime();
    } else if (section.dataset.filled === "yes") {
      return window.dash_clientside.no_update;
    }
    section.dataset.filled = section.dataset.wanted || "no";
    if (!section.dataset.wanted) { return []; }
    makeWhole(section, specs, id);
    return specs.rest;
  }

  /* Focus the heading of a page that was moved to, or the section that the address names. */
  async function arrive(_, title) {
    document.title = title || "Layshaft";
    forgetLeft();
    const named = window.location.hash.slice(1);
    const section = named ? await whenThere(() => document.getElementById(named), 30) : null;
    if (section) {
      section.scrollIntoView();
      setTimeout(() => section.scrollIntoView(), 400); // sections above grow when they are answered
    } else if (arrive.before) {
      const heading = document.getElementById("page-heading");
      if (heading) { heading.focus({ preventScroll: true }); }
    }
    arrive.before = true;
  }

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    layshaft: {
      fill: fill,
      putControls: function (_, controls, there) {
        return there && there.length ? window.dash_clientside.no_update : controls;
      },
      pickRow: function (rows, search) {
        if (!rows || rows.length === 0) { return window.dash_clientside.no_update; }
        pickedNow = true;
        return { row: rows[0].row, search: search || "" };
      },
      arriveAtJobs: function (children, id) {
        if (!pickedNow || !children || children.length === 0) { return; }
        pickedNow = false;
        const selector = "#" + CSS.escape(mark(id)) + " .behind h3";
        whenThere(() => document.querySelector(selector)).then((heading) => {
          if (heading) {
            heading.focus({ preventScroll: true });
            heading.scrollIntoView({ block: "center" });
          }
        });
      },
      arrive: arrive,
    },
  });

  /* Tables: values as said by the service, and fewer columns where there is little room. */
  window.dashAgGridFunctions = Object.assign({}, window.dashAgGridFunctions, {
    said: function (params) {
      return params.data ? params.data[params.colDef.field + "__said"] : "";
    },
    fitColumns: function (params) {
      const narrow = params.clientWidth < NARROW;
      const wide = params.api.getColumns().filter((column) => (column.getColDef().context || {}).wide);
      const changing = wide.filter((column) => column.isVisible() === narrow);
      if (changing.length > 0) { params.api.setColumnsVisible(changing, !narrow); }
    },
  });

  /* On paper: every row of a table in the order in which it stands, and every fold open. */
  function plainTable(api) {
    const columns = api.getAllDisplayedColumns();
    const table = document.createElement("table");
    table.className = "plain";
    const head = table.createTHead().insertRow();
    columns.forEach((column) => {
      const cell = document.createElement("th");
      cell.textContent = column.getColDef().headerName;
      head.append(cell);
    });
    const body = table.createTBody();
    api.forEachNodeAfterFilterAndSort((row) => {
      const line = body.insertRow();
      columns.forEach((column) => { line.insertCell().textContent = row.data[column.getColId() + "__said"]; });
    });
    return table;
  }
  function takeOffPaper() {
    document.querySelectorAll(".on-paper").forEach((copy) => copy.remove());
  }
  window.addEventListener("beforeprint", () => {
    takeOffPaper();
    document.querySelectorAll(".section[data-section]").forEach(want); // what is not filled yet, as far as there is time
    document.querySelectorAll(".grounds, .behind details").forEach((fold) => { fold.open = true; });
    document.querySelectorAll(".ag-root-wrapper").forEach((grid) => {
      const place = grid.closest("[id]");
      const copy = document.createElement("div");
      copy.className = "on-paper";
      copy.append(plainTable(window.dash_ag_grid.getApi(place.id)));
      place.parentElement.append(copy);
    });
  });
  window.addEventListener("afterprint", takeOffPaper);
})();
