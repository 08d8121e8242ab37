/* The browser's side of the pages: how the person wants them, ages by its own timer, the moving wave.
   No words here: all text comes from the server in data attributes. */
"use strict";
(function () {
  const root = document.documentElement;
  const YEAR_S = 31536000;

  function remember(name, value) {
    document.cookie = `nk_${name}=${value}; path=/; max-age=${YEAR_S}; samesite=strict`;
  }

  function recall(name) {
    const found = document.cookie.split("; ").find((part) => part.startsWith(`nk_${name}=`));
    return found ? found.slice(name.length + 4) : null;
  }

  // Runs before the first request of the pages, so that the server answers for this person at once.
  remember("zone", Intl.DateTimeFormat().resolvedOptions().timeZone || "UTC");
  remember("width", window.innerWidth);
  root.dataset.theme = recall("theme") || (window.matchMedia("(prefers-color-scheme: dark)").matches ? "dim" : "paper");
  remember("theme", root.dataset.theme);

  /* The server works on its two first answers while the browser still reads the pages' scripts: they are asked
     for here, in the words of those scripts, which are handed them when they ask. */
  const askPlainly = window.fetch;
  const early = new Map(["/_dash-layout", "/_dash-dependencies"].map((place) => [place, askPlainly(place, {
    credentials: "same-origin", headers: { Accept: "application/json", "Content-Type": "application/json" },
  })]));
  window.fetch = function (place, how) {
    const answer = early.get(place);
    early.delete(place);
    if (!early.size) window.fetch = askPlainly;
    return answer || askPlainly.call(window, place, how);
  };
  window.addEventListener("resize", () => remember("width", window.innerWidth));

  function colour(role) {
    return getComputedStyle(root).getPropertyValue(`--${role}`).trim();
  }

  function shell() {
    return document.getElementById("shell");
  }

  /* Ages: the server says its time with each answer; from there this page's own steady timer counts. */
  const beat = { server: null, heard: null, newest: null, old_ms: 4000 };

  function serverNow() {
    return beat.server === null ? null : beat.server + (performance.now() - beat.heard);
  }

  function spanText(ms) {
    const words = shell().dataset;
    const seconds = Math.max(Math.round(ms / 1000), 0);
    if (seconds < 120) return words.seconds.replace("{n}", seconds);
    const minutes = Math.round(seconds / 60);
    if (minutes < 60) return words.minutes.replace("{n}", minutes);
    return words.hours.replace("{h}", Math.floor(minutes / 60)).replace("{m}", String(minutes % 60).padStart(2, "0"));
  }

  function age() {
    const now = serverNow();
    if (now === null) return;
    document.querySelectorAll("[data-since]").forEach((node) => {
      const text = node.dataset.text.replace("{age}", spanText(now - Number(node.dataset.since)));
      if (node.firstChild && node.firstChild.nodeValue !== text) node.firstChild.nodeValue = text;
    });
    const body = document.getElementById("now-body");
    if (body && beat.newest !== null) body.toggleAttribute("data-old", now - beat.newest > beat.old_ms);
  }
  setInterval(age, 500);

  /* Asking: the next question waits for the answer, since the pages drop an answer once a newer question is
     out, and a server that needs longer than the period would never be heard. Without an answer it is asked
     again, each time more patiently. Times in ms. */
  const PERIOD = 1000;
  const PATIENCE = { least: 3000, most: 30000 };
  const asking = { turn: 0, since: -Infinity, open: false, patience: PATIENCE.least };

  function ask() {
    const now = performance.now();
    const waited = now - asking.since;
    const body = document.getElementById("now-body");
    // The page comes with its first five minutes; an answer that overtakes them would replace them.
    if (!body || !body.hasAttribute("data-filled") || waited < PERIOD) return;
    if (asking.open) {
      if (waited < asking.patience) return;
      asking.patience = Math.min(2 * asking.patience, PATIENCE.most);
    }
    asking.turn += 1;
    asking.since = now;
    asking.open = true;
    window.dash_clientside.set_props("now-tick", { data: asking.turn });
  }

  function answered() {
    if (!asking.open) return;
    asking.open = false;
    const took = performance.now() - asking.since;
    asking.patience = Math.min(Math.max(PATIENCE.least, 2 * took), PATIENCE.most);
  }

  /* The wave: a ring of five minutes, drawn as minimum and maximum of each pixel column. */
  const SPAN_MS = 300000;
  const MISSING = -32768;
  let times = [];
  let values = [];

  function unpack(text, Kind) {
    const raw = atob(text);
    const bytes = new Uint8Array(raw.length);
    for (let i = 0; i < raw.length; i += 1) bytes[i] = raw.charCodeAt(i);
    return new Kind(bytes.buffer);
  }

  function take(data) {
    const t = unpack(data.t, Int32Array);
    const v = unpack(data.v, Int16Array);
    const last = times.length ? times[times.length - 1] : -Infinity;
    if (t.length && data.t0 + t[0] <= last - SPAN_MS) { times = []; values = []; }
    for (let i = 0; i < t.length; i += 1) {
      if (data.t0 + t[i] > last) { times.push(data.t0 + t[i]); values.push(v[i]); }
    }
    let drop = 0;
    while (drop < times.length && times[drop] < data.now - SPAN_MS - 2000) drop += 1;
    if (drop > 500) { times = times.slice(drop); values = values.slice(drop); }
  }

  function columns(from, to, width) {
    const low = new Float64Array(width).fill(Infinity);
    const high = new Float64Array(width).fill(-Infinity);
    const scale = width / (to - from);
    for (let i = 0; i < times.length; i += 1) {
      const x = Math.floor((times[i] - from) * scale);
      if (x < 0 || x >= width || values[i] === MISSING) continue;
      const y = values[i] / 100;
      if (y < low[x]) low[x] = y;
      if (y > high[x]) high[x] = y;
    }
    return { low, high };
  }

  function prepare(canvas) {
    const ratio = window.devicePixelRatio || 1;
    const box = canvas.getBoundingClientRect();
    const width = Math.round(box.width * ratio);
    const height = Math.round(box.height * ratio);
    if (canvas.width !== width || canvas.height !== height) { canvas.width = width; canvas.height = height; }
    const pen = canvas.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, box.width, box.height);
    return { pen, width: box.width, height: box.height };
  }

  const LEFT = 44;
  const FOOT = 22;
  let limits = { high: null, low: null };

  function range(shown) {
    let low = -2;
    let high = 30;
    shown.low.forEach((value) => { if (value < low) low = value; });
    shown.high.forEach((value) => { if (value > high) high = value; });
    if (limits.high !== null && limits.high < high + 15) high = Math.max(high, limits.high + 2);
    return { low, high };
  }

  function rules(pen, width, height, scale, canvas) {
    pen.font = `12px ${getComputedStyle(root).getPropertyValue("--sans")}`;
    pen.fillStyle = colour("soft");
    pen.strokeStyle = colour("rule");
    pen.lineWidth = 1;
    pen.textAlign = "right";
    pen.textBaseline = "middle";
    for (let p = Math.ceil(scale.low / 10) * 10; p <= scale.high; p += 10) {
      const y = Math.round(scale.y(p)) + 0.5;
      pen.beginPath(); pen.moveTo(LEFT, y); pen.lineTo(width, y); pen.stroke();
      pen.fillText(String(p), LEFT - 6, y);
    }
    pen.textAlign = "left";
    pen.textBaseline = "top";
    pen.fillText(canvas.dataset.unit, 0, 0);
    pen.textBaseline = "bottom";
    const room = (width - LEFT) / 5 > 76;
    for (let minute = 0; minute < 5; minute += 1) {
      const x = LEFT + ((width - LEFT) * minute) / 5;
      if (room || minute % 3 === 0) pen.fillText(canvas.dataset.ago.replace("{n}", 5 - minute), x + 2, height);
      pen.beginPath(); pen.moveTo(x + 0.5, 14); pen.lineTo(x + 0.5, height - FOOT); pen.stroke();
    }
    pen.textAlign = "right";
    pen.fillText(canvas.dataset.now, width - 2, height);
  }

  function draw() {
    const canvas = document.getElementById("now-wave");
    const now = serverNow();
    if (!canvas || now === null) return;
    const { pen, width, height } = prepare(canvas);
    if (width < 60) return;
    const inner = Math.floor(width - LEFT);
    // The newest second arrives about a second late; the right edge is where data can be.
    const to = now - 1200;
    const shown = columns(to - SPAN_MS, to, inner);
    const bounds = range(shown);
    const scale = { ...bounds, y: (p) => 14 + ((bounds.high - p) / (bounds.high - bounds.low)) * (height - 14 - FOOT) };
    rules(pen, width, height, scale, canvas);
    shade(pen, shown, inner, height);
    limitLines(pen, width, scale);
    curve(pen, shown, inner, scale);
  }

  function shade(pen, shown, inner, height) {
    // Columns without a sample are hatched: nothing is drawn across what wasn't measured.
    pen.strokeStyle = colour("gap");
    pen.lineWidth = 1;
    const empty = (x) => shown.high[x] === -Infinity;
    for (let x = 0; x < inner; x += 1) {
      const wide = empty(x) && (empty(x - 4) || x < 4) && (empty(x + 4) || x > inner - 5);
      if (!wide || x % 6) continue;
      pen.beginPath(); pen.moveTo(LEFT + x, height - FOOT); pen.lineTo(LEFT + x + 6, 14); pen.stroke();
    }
  }

  function limitLines(pen, width, scale) {
    pen.strokeStyle = colour("soft");
    pen.setLineDash([2, 4]);
    [limits.high, limits.low].forEach((p) => {
      if (p === null || p > scale.high || p < scale.low) return;
      pen.beginPath(); pen.moveTo(LEFT, scale.y(p)); pen.lineTo(width, scale.y(p)); pen.stroke();
    });
    pen.setLineDash([]);
  }

  function curve(pen, shown, inner, scale) {
    const body = document.getElementById("now-body");
    const old = body && body.hasAttribute("data-old");
    pen.strokeStyle = colour(old ? "gap" : "pressure");
    pen.lineWidth = 1.6;
    pen.lineJoin = "round";
    pen.beginPath();
    let last = -10;
    for (let x = 0; x < inner; x += 1) {
      if (shown.high[x] === -Infinity) continue;
      const px = LEFT + x;
      if (x - last > 3) pen.moveTo(px, scale.y(shown.low[x])); else pen.lineTo(px, scale.y(shown.low[x]));
      pen.lineTo(px, scale.y(shown.high[x]));
      last = x;
    }
    pen.stroke();
  }
  setInterval(draw, 250);
  setInterval(ask, 100);

  /* Called by the pages. */
  function moment(utc, zone) {
    const clock = new Intl.DateTimeFormat("sv-SE", { timeZone: zone, dateStyle: "short", timeStyle: "medium" });
    return clock.format(new Date(utc));
  }

  // What a curve says at a time: its nearest point, if one lies within a hundredth of the window.
  function valueAt(trace, at) {
    if (!Array.isArray(trace.meta) || !trace.x) return "";
    const plot = document.querySelector("#night-graph .js-plotly-plot");
    const range = plot.layout.xaxis.range;
    let reach = (range[1] - range[0]) / 100;
    let value = NaN;
    for (let i = 0; i < trace.x.length; i += 1) {
      const apart = Math.abs(trace.x[i] - at);
      if (apart <= reach && Number.isFinite(trace.y[i])) { reach = apart; value = trace.y[i]; }
    }
    const [name, unit, digits] = trace.meta;
    return Number.isFinite(value) ? `${name} ${value.toFixed(digits).replace(".", shell().dataset.decimal)} ${unit}` : "";
  }

  window.dash_clientside = window.dash_clientside || {};
  window.dash_clientside.nightkeel = {
    theme: function () {
      const asked = window.dash_clientside.callback_context.triggered_id;
      // The page comes in the right colours: nothing is drawn anew before somebody asks for others.
      if (!asked || !asked.theme) return window.dash_clientside.no_update;
      remember("theme", asked.theme);
      root.dataset.theme = asked.theme;
      return asked.theme;
    },

    // Asked for by a press, so that the module's clock can be set where no network tells the time.
    moment: function (clicks) {
      return clicks ? Date.now() : window.dash_clientside.no_update;
    },

    choose: function (clicks) {
      const asked = window.dash_clientside.callback_context.triggered_id;
      if (!asked || !clicks.some((n) => n)) return window.dash_clientside.no_update;
      remember(asked.of, asked.value);
      window.location.reload();
      return asked.value;
    },

    wave: function (data) {
      const body = document.getElementById("now-body");
      if (body) body.toggleAttribute("data-filled", true);
      if (!data) return "";
      answered();
      beat.server = data.now;
      beat.heard = performance.now();
      beat.newest = data.newest;
      beat.old_ms = data.old_ms;
      limits = { high: data.high, low: data.low };
      take(data);
      age();
      draw();
      // Restarts the style sheet's own countdown; when no answer comes, it runs out without any script.
      root.dataset.beat = root.dataset.beat === "a" ? "b" : "a";
      return "";
    },

    go: function (moved, clicked, search) {
      const none = window.dash_clientside.no_update;
      const asked = new URLSearchParams(search || "");
      const trigger = (window.dash_clientside.callback_context.triggered[0] || {}).prop_id || "";
      let from = null;
      let to = null;
      if (trigger.endsWith("relayoutData") && moved) {
        from = moved["xaxis.range[0]"];
        to = moved["xaxis.range[1]"];
      } else if (clicked && clicked.points && clicked.points.length) {
        const target = clicked.points.map((p) => p.customdata).find((c) => Array.isArray(c));
        if (!target) return none;
        const room = Math.max((target[1] - target[0]) / 2, 60000);
        from = target[0] - room;
        to = target[1] + room;
      }
      if (!Number.isFinite(from) || !Number.isFinite(to) || to - from < 500) return none;
      asked.set("from", Math.round(from));
      asked.set("to", Math.round(to));
      return `?${asked.toString()}`;
    },

    read: function (hover) {
      const node = document.getElementById("night-readout");
      const plot = document.querySelector("#night-graph .js-plotly-plot");
      if (!node || !plot) return "";
      if (!hover || !hover.points || !hover.points.length) { node.textContent = node.dataset.hint; return ""; }
      const at = hover.points[0].x;
      const said = plot._fullData.map((trace) => valueAt(trace, at)).filter((text) => text !== "");
      node.textContent = [moment(at, node.dataset.zone), ...said].join("   ");
      return "";
    },
  };
})();
