/* Put up pages and their sections, ask for the answers that did not come with the page, draw what is near the screen,
   move the focus, prepare paper. */
(function () {
  "use strict";

  const PATIENCE = 120; // frames to wait for a place to be there
  const AHEAD = "500px 0px"; // how far beyond the screen charts are drawn
  const BREATH = 150; // milliseconds between two looks whether there is time to draw what nobody came near yet
  const AT_ONCE = 2; // sections asked for at a time: more would share the service's time, and the first come last
  const SLOW = 1500; // milliseconds after which a section that is not answered yet holds up the next no longer
  const answers = new WeakMap(); // what each section on the page is answered with
  const asked = new WeakMap(); // when each section that waits was asked for
  const chosen = new WeakMap(); // the key of the row whose jobs each section shows
  let view = ""; // the address's query string
  let pickedNow = false;

  function setProps(part, section, properties) {
    window.dash_clientside.set_props({ part: part, section: section.dataset.section }, properties);
  }

  function sections() {
    return [...document.querySelectorAll(".section[data-section]")];
  }

  function sectionOf(id) {
    return document.getElementById(id.section.split("#")[1]);
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

  /* Charts are drawn when their section comes near the screen; the others section by section when there is time, so
     that paper and those who jump ahead find them too. On a section, `near` says whether it is near, `whole` that
     nothing of its answer is still to be drawn. */
  const watcher = new IntersectionObserver((seen) => {
    seen.forEach((entry) => {
      entry.target.dataset.near = entry.isIntersecting ? "yes" : "no";
      if (entry.isIntersecting) { drawSection(entry.target); }
    });
    drawInTime();
  }, { rootMargin: AHEAD });

  async function drawSection(section) {
    const answer = answers.get(section);
    if (!answer || answer.drawn) { return; }
    answer.drawn = true;
    const places = section.querySelectorAll(".chart");
    const picked = (row) => pick(section, row);
    try {
      await Promise.all(answer.charts.map((drawing, place) => window.layshaft.draw(places[place], drawing, picked)));
    } finally { // a drawing that failed is told on the console, and holds up no other section
      if (answers.get(section) === answer) { section.dataset.whole = "yes"; }
    }
  }

  let looking = false;
  function drawInTime() {
    if (looking) { return; }
    looking = true;
    setTimeout(() => {
      looking = false;
      const left = sections().filter((section) => !section.dataset.whole);
      if (left.length === 0) { return; }
      const busy = left.some((section) => !answers.has(section) || answers.get(section).drawn);
      if (!busy) { drawSection(left[0]); }
      drawInTime();
    }, BREATH);
  }

  /* A section that is to be answered waits its turn: those near the screen first, then as they stand on the page. */
  function wait(section) {
    answers.delete(section);
    asked.delete(section);
    delete section.dataset.whole;
    section.setAttribute("aria-busy", "true");
  }

  function askNext() {
    const waiting = sections().filter((section) => section.hasAttribute("aria-busy"));
    const inHand = waiting.filter((section) => asked.has(section) && Date.now() - asked.get(section) < SLOW);
    const left = waiting.filter((section) => !asked.has(section));
    left.sort((one, other) => (other.dataset.near === "yes") - (one.dataset.near === "yes"));
    left.slice(0, Math.max(0, AT_ONCE - inHand.length)).forEach((section) => {
      asked.set(section, Date.now());
      setProps("asked", section, { data: { search: view } });
      setTimeout(askNext, SLOW);
    });
  }

  function putAnswer(section, answer) {
    answers.set(section, { charts: answer.charts, stamp: answer.stamp, drawn: false });
    delete section.dataset.whole;
    section.removeAttribute("aria-busy");
    section.querySelector(".body").innerHTML = answer.words;
    section.querySelector(".rest").innerHTML = answer.rest;
    if (chosen.has(section)) { window.layshaft.mark(section, chosen.get(section)); }
    window.layshaft.forgetLeft();
    if (section.dataset.near === "yes") { drawSection(section); }
    watcher.observe(section);
    drawInTime();
  }

  /* An answer that was asked for has come; one for a view that was left since is asked for anew already. */
  function answered(answer, id) {
    const section = sectionOf(id);
    if (!section || !answer || answer.search !== view) { return; }
    putAnswer(section, answer);
    askNext();
  }

  /* Put up a section of a page that was just opened, with its answer where it came along. */
  function putSection(section, told) {
    section.querySelector(".place").innerHTML = told.frame;
    if (!section.dataset.section) { return; } // its frame is all there is to it
    const kept = JSON.parse(sessionStorage.getItem("picked " + section.dataset.section));
    const holds = kept && kept.key && kept.search === view;
    if (holds) { chosen.set(section, kept.key); }
    if (told.answer) { putAnswer(section, told.answer); } else { wait(section); }
    if (holds) { askForJobs(section); }
  }

  /* A page is left by a link, by going back or forth, or with the window. Going back returns to where it was left: the
     browser itself would do so before the page stands there again. */
  history.scrollRestoration = "manual";
  let arrivals = 0;
  let shownAt = null; // the address of the page that stands there
  let goingBack = performance.getEntriesByType("navigation")[0].type !== "navigate";

  /* Keep how far into which section the page is read: what stands above may be drawn later and grow. */
  function leave() {
    if (shownAt === null) { return; }
    const begun = [...document.querySelectorAll("#page, .section")].filter((one) => one.getBoundingClientRect().top <= 0);
    const read = begun.pop();
    const left = read ? { id: read.id, into: -read.getBoundingClientRect().top } : null;
    sessionStorage.setItem("left " + shownAt, JSON.stringify(left));
  }
  window.addEventListener("pagehide", leave);
  window.addEventListener("popstate", () => { leave(); goingBack = true; });
  document.addEventListener("click", (event) => {
    if (event.target.closest("a[href]")) { leave(); goingBack = false; }
  }, true);

  /* Go there at once, and again when the section is drawn and its jobs are there, unless the reader has gone on. */
  async function returnTo(left) {
    const place = document.getElementById(left.id);
    let goneOn = false;
    ["wheel", "touchstart", "pointerdown", "keydown"].forEach((sign) => {
      window.addEventListener(sign, () => { goneOn = true; }, { once: true, passive: true });
    });
    const go = () => {
      if (place.isConnected && !goneOn) { window.scrollBy(0, place.getBoundingClientRect().top + left.into); }
    };
    go();
    await whenThere(() => !place.dataset.section || (place.dataset.whole
      && (!chosen.has(place) || place.querySelector(".behind").hasChildNodes())), 5 * PATIENCE);
    go();
  }

  /* Show a page: put up its sections, then go to where it was left, to the section that the address names, or to its
     heading. */
  async function arrive(shown) {
    const arrival = arrivals += 1;
    view = shown.search;
    shownAt = window.location.pathname + view;
    document.title = shown.title;
    const left = goingBack ? JSON.parse(sessionStorage.getItem("left " + shownAt)) : null;
    if (goingBack) { window.scrollTo(0, 0); } // what was left at its top, or in another window, is shown from there
    goingBack = false;
    for (const [mark, told] of Object.entries(shown.sections)) {
      const section = await whenThere(() => document.getElementById(mark));
      if (arrival !== arrivals) { return; } // the reader has gone on to another page
      if (section) { putSection(section, told); }
    }
    askNext();
    window.layshaft.forgetLeft();
    const named = left ? "" : window.location.hash.slice(1);
    const section = named ? await whenThere(() => document.getElementById(named), 30) : null;
    if (section) {
      section.scrollIntoView();
      setTimeout(() => section.scrollIntoView(), 400); // sections above grow when they are answered
    } else if (arrive.before) {
      const heading = document.getElementById("page-heading");
      if (heading) { heading.focus({ preventScroll: true }); }
    }
    arrive.before = true;
    if (left && document.getElementById(left.id)) { await returnTo(left); }
  }

  /* The view in the address changed while its page stays: every section is asked anew, and no list stays behind. */
  function viewChanged(search) {
    if (search === view) { return; }
    view = search;
    shownAt = window.location.pathname + view;
    window.layshaft.setControls(search);
    const page = window.location.pathname.replace(/\/+$/, "");
    sections().filter((section) => section.dataset.section.split("#")[0] === page).forEach((section) => {
      wait(section);
      chosen.delete(section);
      setProps("behind", section, { children: [] });
    });
    askNext();
  }

  /* Choose a row by its number in the answer that is shown. It is kept by its key, which holds whatever the next load
     changes, and in the browser's session, so that going back from a job finds its jobs. */
  function pick(section, number) {
    const row = section.querySelector("tr[data-row='" + number + "']");
    if (!row) { return; }
    chosen.set(section, row.dataset.key);
    sessionStorage.setItem("picked " + section.dataset.section, JSON.stringify({ key: row.dataset.key, search: view }));
    window.layshaft.mark(section, row.dataset.key);
    pickedNow = true;
    askForJobs(section);
  }

  /* Ask for the jobs behind the chosen row. The stamp of the answer tells whether it is another by now. */
  function askForJobs(section) {
    const answer = answers.get(section);
    const stamp = answer ? answer.stamp : null;
    setProps("picked", section, { data: { key: chosen.get(section), search: view, stamp: stamp } });
  }

  function arriveAtJobs(children, id) {
    if (!pickedNow || !children || children.length === 0) { return; }
    pickedNow = false;
    whenThere(() => sectionOf(id).querySelector(".behind h3")).then((heading) => {
      if (heading) {
        heading.focus({ preventScroll: true });
        heading.scrollIntoView({ block: "center" });
      }
    });
  }

  window.layshaft = Object.assign({}, window.layshaft, { pick: pick });
  window.dash_clientside = Object.assign({}, window.dash_clientside);
  window.dash_clientside.layshaft = Object.assign({}, window.dash_clientside.layshaft, {
    arrive: arrive,
    answered: answered,
    arriveAtJobs: arriveAtJobs,
    viewChanged: viewChanged,
  });

  /* On paper: every chart, as far as there is time, and every fold open. */
  window.addEventListener("beforeprint", () => {
    sections().forEach(drawSection);
    document.querySelectorAll(".grounds, .behind details").forEach((fold) => { fold.open = true; });
  });
})();
