"use strict";
// The table of findings: filter, sort, open a row. All text goes in as text; nothing here makes markup of data.
(() => {
  const block = document.getElementById("findings-data");
  const table = document.querySelector("[data-findings]");
  if (!block || !table) return;
  const { columns, words, rows } = JSON.parse(block.textContent);
  const place = Object.fromEntries(columns.map((name, i) => [name, i]));
  const said = (row, name) => {
    const value = row[place[name]];
    return name in words ? words[name][value] : value === null ? "" : value;
  };
  const body = table.tBodies[0];
  const count = document.querySelector("[data-count]");
  const more = document.querySelector("[data-more]");
  const filters = [...document.querySelectorAll("[data-filter]")];
  // Everything that cannot wait is shown at once; the rest on demand, so that a big week opens fast.
  const urgent = rows.filter((row) => ["critical", "major"].includes(said(row, "severity"))).length;
  const FIRST = Math.max(200, urgent);
  // only: what a figure of the page asked for, as {field, values, words}.
  let showing = FIRST, sorted = null, descending = false, only = null;

  const make = (tag, attributes, ...inside) => {
    const node = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes || {})) node.setAttribute(name, value);
    node.append(...inside);
    return node;
  };
  const link = (row, text) => {
    const number = row[place.page_no];
    if (number === null) return text;
    return make("a", { href: `accounts/${String(number).padStart(4, "0")}.html` }, text);
  };

  const summary = (row) => {
    const list = make("dl");
    const add = (name, ...value) => { if (value.some((part) => part !== "")) list.append(make("dt", {}, name), make("dd", {}, ...value)); };
    add("Site", said(row, "site"));
    add("What", said(row, "sentence"), said(row, "subject") ? ` (${said(row, "subject")})` : "");
    add("Measured", said(row, "measured_text"));
    add("Limit", said(row, "limit_text"));
    add("Behind it", `${said(row, "evidence_count") || 0} log lines, ${said(row, "excused_count") || 0} excused`);
    add("Could also be", said(row, "look_alikes"));
    add("Probable cause", said(row, "cause").replaceAll("_", " "));
    add("Next step", said(row, "next_step"));
    add("On the list", `${said(row, "weeks_on_list") || 1} week(s); check ${said(row, "check")}; finding ${said(row, "finding_id")}`);
    const cell = make("td", { colspan: "9" }, list);
    if (row[place.page_no] !== null) cell.append(make("p", {}, link(row, "Timeline and log lines of this account")));
    return make("tr", { class: "more" }, cell);
  };

  const line = (row) => {
    const severity = said(row, "severity");
    const opener = make("button", { type: "button", class: "opener", "aria-expanded": "false" }, "+");
    opener.setAttribute("aria-label", `Evidence summary: ${said(row, "title")}, account ${said(row, "account")}`);
    const cell = (label, kind, ...inside) => make("td", kind ? { "data-label": label, class: kind } : { "data-label": label }, ...inside);
    const made = make("tr", {},
      cell("severity", "", make("span", {}, opener, make("span", { class: `sev sev-${severity}` }, severity))),
      cell("account", "t", link(row, said(row, "account"))),
      cell("site", "", make("span", { class: "clip" }, said(row, "site"))),
      cell("finding", "", make("span", {}, make("b", {}, said(row, "title")), " ", said(row, "sentence"))),
      cell("since", "t", said(row, "since")), cell("status", "", said(row, "status")), cell("dealer", "", make("span", { class: "clip" }, said(row, "dealer"))),
      cell("action", "", said(row, "action")), cell("confidence", "", said(row, "confidence")));
    opener.addEventListener("click", () => {
      const open = opener.getAttribute("aria-expanded") === "true";
      opener.setAttribute("aria-expanded", String(!open));
      opener.textContent = open ? "+" : "\u2212";
      made.classList.toggle("open", !open);
      if (open) made.nextElementSibling.remove();
      else made.after(summary(row));
    });
    return made;
  };

  const wanted = () => Object.fromEntries(filters.map((node) => [node.dataset.filter, node.value]).filter((pair) => pair[1]));
  const SEARCHED = ["account", "site", "title", "sentence", "dealer", "check", "subject"];
  const fits = (row, asked) => Object.entries(asked).every(([name, value]) => {
    if (name !== "text") return `=${said(row, name)}` === value;
    const text = SEARCHED.map((field) => said(row, field)).join(" ").toLowerCase();
    const looked = value.trim().toLowerCase();
    return looked.split(/\s+/).every((word) => text.includes(word)) || (looked.length > 3 && said(row, "finding_id").startsWith(looked));
  });
  // Ranked words sort by their rank (their place in words), texts as people sort them, numbers inside texts by value.
  const RANKED = ["severity", "status", "action", "confidence"];
  const order = new Intl.Collator("en", { numeric: true }).compare;
  const compare = (a, b) => {
    const way = descending ? -1 : 1;
    if (RANKED.includes(sorted)) return way * (a[place[sorted]] - b[place[sorted]]);
    return way * order(String(said(a, sorted)), String(said(b, sorted)));
  };

  const show = () => {
    const asked = wanted();
    const found = rows.filter((row) => fits(row, asked) && (!only || only.values.includes(String(said(row, only.field)))));
    if (sorted) found.sort(compare);
    const shown = found.slice(0, showing);
    body.replaceChildren(...shown.map(line));
    const part = shown.length < found.length ? `${shown.length} shown of ` : "";
    count.textContent = `${part}${found.length} of ${rows.length} findings` + (shown.length < found.length ? "; all are in findings.csv" : "")
      + (only ? `; only: ${only.words}` : "");
    more.hidden = shown.length === found.length;
    more.textContent = `Show all ${found.length}`;
    history.replaceState({ asked, sorted, descending, only }, "");
  };

  for (const head of table.querySelectorAll("[data-sort]")) {
    const button = make("button", { type: "button" }, head.textContent);
    head.replaceChildren(button, make("span", { class: "printed", "aria-hidden": "true" }, head.textContent));
    button.addEventListener("click", () => {
      descending = sorted === head.dataset.sort && !descending;
      sorted = head.dataset.sort;
      mark();
      show();
    });
  }
  const mark = () => {
    for (const head of table.querySelectorAll("[data-sort]")) {
      if (head.dataset.sort === sorted) head.setAttribute("aria-sort", descending ? "descending" : "ascending");
      else head.removeAttribute("aria-sort");
    }
  };
  for (const node of filters) node.addEventListener("input", () => { showing = FIRST; show(); });
  document.querySelector("[data-reset]").addEventListener("click", () => {
    for (const node of filters) node.value = "";
    only = null;
    show();
  });
  // A figure leads to the rows behind it: the link goes to the table, and the table shows no others.
  for (const figure of document.querySelectorAll("[data-only]")) {
    figure.addEventListener("click", () => {
      for (const node of filters) node.value = "";
      only = { field: figure.dataset.only, values: figure.dataset.values.split(" "), words: figure.dataset.words };
      showing = rows.length;
      // After the browser has gone to the table: the state belongs to the place it went to.
      setTimeout(show);
    });
  }
  more.addEventListener("click", () => { showing = rows.length; show(); });

  // Coming back from an account page finds the table as it was left.
  const left = history.state;
  if (left && left.asked) {
    for (const node of filters) node.value = left.asked[node.dataset.filter] || "";
    sorted = left.sorted;
    descending = left.descending;
    only = left.only;
    mark();
  }
  document.querySelector(".filters").hidden = false;
  show();
})();
