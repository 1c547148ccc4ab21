// Find a site by part of its name: a combobox with a list, by the keyboard or the pointer.
"use strict";

// Lower case, without accents.
geoturf.folded = (text) => text.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase();

geoturf.MOST_FOUND = 12;

// Sites whose name holds the words, those that begin with them first, then by name (Lot 9 before Lot 10).
geoturf.sitesNamed = function (folded, query) {
  const { compare } = new Intl.Collator("en", { numeric: true });
  const wanted = geoturf.folded(query.trim());
  const found = [];
  folded.forEach((name, site) => {
    const at = name.indexOf(wanted);
    if (at >= 0) found.push([at === 0 ? 0 : 1, site]);
  });
  return found.sort((a, b) => a[0] - b[0] || compare(folded[a[1]], folded[b[1]]) || a[1] - b[1]).map(([, site]) => site);
};

geoturf.setUpFind = function (scene, pick) {
  const input = geoturf.byId("find"), list = geoturf.byId("found"), count = geoturf.byId("found-count");
  const folded = scene.siteNames.map(geoturf.folded);
  let shown = [], active = -1;

  function close() {
    list.hidden = true;
    active = -1;
    input.setAttribute("aria-expanded", "false");
    input.removeAttribute("aria-activedescendant");
  }

  function choose(site) {
    input.value = scene.siteNames[site];
    close();
    pick({ site }, true);
    count.textContent = "Shown on the map; its figures are below";
  }

  function open() {
    const all = geoturf.sitesNamed(folded, input.value);
    shown = all.slice(0, geoturf.MOST_FOUND);
    list.replaceChildren();
    shown.forEach((site, row) => {
      const item = geoturf.element("li", scene.siteNames[site], { role: "option", id: "found-" + row, dir: "auto" });
      item.addEventListener("mousedown", (event) => event.preventDefault()); // the input keeps the focus
      item.addEventListener("click", () => choose(site));
      list.append(item);
    });
    const more = all.length - shown.length;
    count.textContent = all.length === 0 ? "No site has this in its name" : more > 0 ? `and ${geoturf.number(more, 0)} more` : "";
    close();
    list.hidden = shown.length === 0;
    input.setAttribute("aria-expanded", String(shown.length > 0));
  }

  function move(by) {
    if (list.hidden) open();
    if (!shown.length) return;
    active = (active + by + shown.length + (active < 0 && by < 0 ? 1 : 0)) % shown.length;
    [...list.children].forEach((item, row) => item.setAttribute("aria-selected", String(row === active)));
    list.children[active].scrollIntoView({ block: "nearest" });
    input.setAttribute("aria-activedescendant", "found-" + active);
  }

  input.addEventListener("input", open);
  input.addEventListener("blur", close); // the count stays: the panel must not move under a click
  input.addEventListener("keydown", (event) => {
    if (event.key === "ArrowDown") move(1);
    else if (event.key === "ArrowUp") move(-1);
    else if (event.key === "Enter" && shown.length && !list.hidden) choose(shown[Math.max(active, 0)]);
    else if (event.key === "Escape") close();
    else return;
    event.preventDefault();
    event.stopPropagation();
  });
};
