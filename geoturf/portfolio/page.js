"use strict";
// Sorts and downloads every table, and shows the sites: found, chosen, sorted, with sums.
(() => {
  const ROWS = 200; // shown at once; the download has all
  const MOST_CHOICES = 300;
  const ANY = "(all)";

  // one a number of digits: making a format takes longer than writing a row
  const formats = new Map();
  const format = (digits) => {
    const made = new Intl.NumberFormat("en-US", { minimumFractionDigits: digits, maximumFractionDigits: digits });
    formats.set(digits, made);
    return made;
  };
  const written = (value, digits) => (formats.get(digits) ?? format(digits)).format(value);

  const made = (name, text, kind) => {
    const element = document.createElement(name);
    if (text !== undefined) element.textContent = text;
    if (kind) element.className = kind;
    return element;
  };

  // A cell of a CSV (RFC 4180); text that a spreadsheet would calculate gets an apostrophe.
  const cell = (value) => {
    let text = String(value);
    if (!/^[+-]?\d+(\.\d*)?$/.test(text)) text = text.replace(/^(?=[\s"]*[=+\-@\uff1d\uff0b\uff0d\uff20])/, "'");
    return /[",\r\n]/.test(text) ? `"${text.replace(/"/g, '""')}"` : text;
  };

  const download = (name, rows) => {
    const text = rows.map((row) => row.map(cell).join(",")).join("\r\n") + "\r\n";
    const link = made("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "text/csv" }));
    link.download = `${name.replace(/[^\p{L}\p{N}]+/gu, "_")}.csv`;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  };

  const downloader = (name, rows) => {
    const button = made("button", "Download CSV", "csv");
    button.type = "button";
    button.addEventListener("click", () => download(name, rows()));
    return button;
  };

  // Numbers by size, texts by letters; what is equal stays as it was.
  const order = (a, b) => (typeof a === "number" ? a - b : a < b ? -1 : a > b ? 1 : 0);

  const sortable = (heads, sort) => {
    heads.forEach((head, k) => {
      const button = made("button", head.textContent);
      button.type = "button";
      head.replaceChildren(button);
      button.addEventListener("click", () => {
        const down = head.getAttribute("aria-sort") === "ascending";
        heads.forEach((other) => other.removeAttribute("aria-sort"));
        head.setAttribute("aria-sort", down ? "descending" : "ascending");
        sort(k, down ? -1 : 1);
      });
    });
  };

  const plain = (td) => {
    const text = td.textContent;
    if (!td.classList.contains("n")) return text;
    const value = Number(text.replace(/,/g, ""));
    return Number.isNaN(value) ? -Infinity : value;
  };

  for (const sheet of document.querySelectorAll(".sheet")) {
    const body = sheet.querySelector("tbody");
    const heads = [...sheet.querySelectorAll("th")];
    const names = heads.map((head) => head.textContent);
    sortable(heads, (k, way) => {
      const rows = [...body.rows].map((row) => [plain(row.cells[k]), row]);
      rows.sort((a, b) => way * order(a[0], b[0]));
      body.replaceChildren(...rows.map((pair) => pair[1]));
    });
    const bare = (td) => (td.classList.contains("n") ? td.textContent.replace(/,/g, "") : td.textContent);
    sheet.append(downloader(sheet.dataset.name, () => [names, ...[...body.rows].map((row) => [...row.cells].map(bare))]));
  }

  // ------------------------------------------------------------------------------- every site

  const data = JSON.parse(document.getElementById("geoturf-sites").textContent);
  const { columns, sums } = data;
  const count = columns[0].words.length;
  const of = (column, row) => (column.words ? column.words[row] : column.values[row]);
  const place = document.getElementById("sites");
  const tools = made("div", undefined, "tools");
  const told = made("p");
  told.id = "sums";
  told.setAttribute("aria-live", "polite");
  const table = made("table");
  const head = table.createTHead().insertRow();
  const body = table.createTBody();
  const wide = made("div", undefined, "wide");
  const more = made("button", "Show more", "more");
  more.type = "button";
  let chosen = [];
  let sorted = Array.from({ length: count }, (_, row) => row);
  let most = ROWS;

  const labelled = (text, field) => {
    const label = made("label", text);
    label.append(field);
    tools.append(label);
    return field;
  };

  const find = labelled("Find", made("input"));
  find.type = "search";
  const choices = columns.slice(1).filter((column) => column.words).map((column) => {
    const values = [...new Set(column.words)].sort(order);
    if (values.length < 2 || values.length > MOST_CHOICES) return null;
    const field = labelled(column.label, made("select"));
    for (const value of [ANY, ...values]) field.add(new Option(value, value));
    return { words: column.words, field };
  }).filter(Boolean);
  const searched = Array.from({ length: count }, (_, row) =>
    columns.filter((column) => column.words).map((column) => column.words[row]).join("\n").toLowerCase());

  const total = (name) => chosen.reduce((sum, row) => sum + sums[name][row], 0);

  const summed = () => {
    const ground = total("ground"), price = total("cents") / 100, surface = total("surface");
    const all = {
      areas: total("areas"),
      ground,
      price,
      each: ground > 0 ? price / ground : 0,
      waste: surface > 0 ? 100 * (total("bought") / surface - 1) : 0,
      tolerance: Math.sqrt(total("variance")),
      price_tolerance: Math.sqrt(total("cents_variance")) / 100,
      saved: total("saved"),
    };
    const parts = columns.filter((column) => column.name)
      .map((column) => `${column.label}: ${written(all[column.name], column.digits)}`);
    told.textContent = [`sites: ${written(chosen.length, 0)} of ${written(count, 0)}`, ...parts].join(" · ");
  };

  const draw = () => {
    const rows = chosen.slice(0, most).map((row) => {
      const line = made("tr");
      for (const column of columns) {
        const value = of(column, row);
        line.append(made("td", column.words ? value : written(value, column.digits), column.words ? "t" : "n"));
      }
      return line;
    });
    body.replaceChildren(...rows);
    more.hidden = chosen.length <= most;
    more.textContent = `Show more (${written(Math.max(0, chosen.length - most), 0)})`;
  };

  const choose = () => {
    const word = find.value.trim().toLowerCase();
    chosen = sorted.filter((row) => searched[row].includes(word)
      && choices.every(({ words, field }) => field.selectedIndex === 0 || words[row] === field.value));
    most = ROWS;
    summed();
    draw();
  };

  for (const column of columns) {
    const th = made("th", column.label, column.words ? "t" : "n");
    th.scope = "col";
    head.append(th);
  }
  sortable([...head.cells], (k, way) => {
    sorted = [...sorted].sort((a, b) => way * order(of(columns[k], a), of(columns[k], b)));
    choose();
  });
  find.addEventListener("input", choose);
  for (const { field } of choices) field.addEventListener("change", choose);
  more.addEventListener("click", () => {
    most += ROWS;
    draw();
  });
  const names = columns.map((column) => column.label);
  tools.append(downloader(`${data.name} sites`, () => [names, ...chosen.map((row) => columns.map((column) => of(column, row)))]));
  wide.append(table);
  place.replaceChildren(tools, told, wide, more);
  choose();
})();
