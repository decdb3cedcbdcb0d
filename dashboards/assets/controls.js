/* Write the address when a control changes, and set the controls when the address does. */
(function () {
  "use strict";

  const CONTROLS = "[data-usual]";

  document.addEventListener("change", (event) => {
    const control = event.target.closest(CONTROLS);
    if (!control || !control.validity.valid) { return; } // a day of which only a part is typed is none yet
    const view = new URLSearchParams(window.location.search);
    const value = control.value.trim();
    if (value === "" || value === control.dataset.usual) {
      view.delete(control.name);
    } else {
      view.set(control.name, value);
    }
    const search = view.toString();
    window.dash_clientside.set_props("address", { search: search ? "?" + search : "" });
  });

  function set(control, value) {
    if (control.tagName === "SELECT" && ![...control.options].some((option) => option.value === value)) {
      control.add(new Option(value + " (not on record)", value));
    }
    if (control.value !== value) { control.value = value; }
  }

  function askForControls(search) {
    window.dash_clientside.set_props("controls-asked", { data: { search: search } });
  }

  /* Those that narrow the page down are asked for when somebody opens their fold. */
  document.addEventListener("toggle", (event) => {
    const bar = event.target;
    if (bar.matches(".narrow-down") && bar.open && !bar.querySelector(CONTROLS)) { askForControls(window.location.search); }
  }, true);

  function setControls(search) {
    if (document.querySelector(".narrow-down " + CONTROLS)) { askForControls(search); }
    const view = new URLSearchParams(search);
    document.querySelectorAll(CONTROLS).forEach((control) => {
      set(control, view.get(control.name) || control.dataset.usual);
    });
  }

  /* Put up the controls that narrow a page down, or renew what those that stand there offer: one may be in use. */
  function putControls(controls) {
    const place = document.querySelector(".narrow-down .controls");
    if (!place) { return; }
    const told = document.createElement("template");
    told.innerHTML = controls;
    if (!place.querySelector(CONTROLS)) {
      place.replaceChildren(told.content);
      return;
    }
    told.content.querySelectorAll("select").forEach((newer) => {
      const control = place.querySelector("select[name='" + newer.name + "']");
      if (control && control.innerHTML !== newer.innerHTML) {
        const value = newer.value;
        control.replaceChildren(...newer.childNodes);
        control.value = value;
      }
    });
  }

  window.layshaft = Object.assign({}, window.layshaft, { setControls: setControls });
  window.dash_clientside = Object.assign({}, window.dash_clientside);
  window.dash_clientside.layshaft = Object.assign({}, window.dash_clientside.layshaft, { putControls: putControls });
})();
