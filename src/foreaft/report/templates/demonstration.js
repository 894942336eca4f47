// Plays the runs of the page: one clock for all, a canvas for each, a line over the traces.
// Places are metres in the plane until a camera brings them into a panel, in pixels.
"use strict";
(() => {
  const $ = (id) => document.getElementById(id);
  const scene = JSON.parse($("scene").textContent);
  const { look, body, chart } = scene;

  // ------------------------------------------------------------ what is stored, made numbers

  const numbers = (channel) => {
    let sum = 0;
    return Float64Array.from(channel.d, (step) => (sum += step) * channel.u);
  };
  const FLAT = ["s", "x", "y", "heading", "slip", "up", "shift", "speed", "steer", "pedal"];
  FLAT.push("front", "rear");
  const runs = scene.runs.map((stored) => {
    const run = { step: stored.step };
    for (const name of FLAT) run[name] = numbers(stored[name]);
    for (const name of ["state", "px", "py"]) run[name] = stored[name].map(numbers);
    run.count = run.s.length;
    run.duration = (run.count - 1) * run.step;
    run.farthest = Float64Array.from(run.s);
    for (let i = 1; i < run.count; i++) {
      run.farthest[i] = Math.max(run.farthest[i], run.farthest[i - 1]);
    }
    run.stretches = stretches(run);
    return run;
  });
  const road = {};
  for (const [side, pair] of Object.entries(scene.road)) road[side] = pair.map(numbers);

  // From and to of every time a wheel slid or was locked, for the marks on the road.
  function stretches(run) {
    const found = [];
    for (let wheel = 0; wheel < 4; wheel++) {
      for (let i = 0; i < run.count; i++) {
        const kind = run.state[wheel][i];
        if (kind < 2) continue;
        const from = i;
        while (i + 1 < run.count && run.state[wheel][i + 1] === kind) i++;
        found.push({ wheel, kind, from: Math.max(from - 1, 0), to: i });
      }
    }
    return found;
  }

  const clamp = (value, low, high) => Math.min(Math.max(value, low), high);

  // The car of one run at one time; before its start and after its end it stands at them.
  function moment(run, time) {
    const at = clamp(time / run.step, 0, run.count - 1);
    const row = Math.min(Math.floor(at + 1e-6), run.count - 1);
    const next = Math.min(row + 1, run.count - 1);
    const part = clamp(at - row, 0, 1);
    const now = { row, over: time > run.duration + 1e-6 };
    for (const name of FLAT) now[name] = run[name][row] + part * (run[name][next] - run[name][row]);
    now.state = run.state.map((one) => one[row]);
    now.push = run.px.map((one, wheel) => [one[row], run.py[wheel][row]]);
    return now;
  }

  // When a run first reaches a distance along the line; NaN if it never does.
  function reaches(run, s) {
    const far = run.farthest;
    if (s <= far[0]) return 0;
    if (s > far[run.count - 1] + 0.02) return NaN;
    let low = 0;
    let high = run.count - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (far[middle] < s) low = middle;
      else high = middle;
    }
    const rise = far[high] - far[low];
    return run.step * (low + (rise > 0 ? clamp((s - far[low]) / rise, 0, 1) : 0));
  }

  // ------------------------------------------------------------ colours, from the style sheet

  let colour = {};
  let family = "sans-serif";
  function readColours() {
    const read = getComputedStyle(document.documentElement);
    const roles = ["paper", "ink", "soft", "rule", "front", "rear", "field1", "verge", "road"];
    roles.push("edge", "body");
    for (let i = 0; i < 4; i++) roles.push(`wheel${i}`);
    for (let i = 1; i < 4; i++) roles.push(`sign${i}`);
    colour = {};
    for (const role of roles) colour[role] = read.getPropertyValue(`--${role}`).trim();
    family = read.getPropertyValue("--family").trim();
  }

  // ------------------------------------------------------------ panels

  const panels = runs.map((run, index) => {
    const canvas = $(`view${index}`);
    return { run, index, canvas, pen: canvas.getContext("2d"), width: 0, height: 0 };
  });

  function measure(panel) {
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    panel.width = panel.canvas.clientWidth;
    panel.height = panel.canvas.clientHeight;
    panel.canvas.width = Math.round(panel.width * ratio);
    panel.canvas.height = Math.round(panel.height * ratio);
    panel.pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    panel.pen.lineJoin = "round";
    panel.close = Math.min(look.close * panel.width, look.closeMost);
    panel.road = panel.width - panel.close;
  }

  function camera(x, y, up, scale, atX, atY) {
    const sin = Math.sin(up);
    const cos = Math.cos(up);
    const see = (px, py) => {
      const dx = px - x;
      const dy = py - y;
      return [atX + scale * (dx * sin - dy * cos), atY - scale * (dx * cos + dy * sin)];
    };
    return { x, y, scale, see };
  }

  function chooseCamera(panel, now) {
    if (settings.camera === "follow") {
      const scale = panel.height / look.follow;
      const x = now.x - now.shift * Math.sin(now.up);
      const y = now.y + now.shift * Math.cos(now.up);
      return camera(x, y, now.up, scale, panel.road / 2, look.place * panel.height);
    }
    const [x, y, up, wide, high] = scene.whole;
    const scale = Math.min((panel.road - 24) / wide, (panel.height - 24) / high);
    return camera(x, y, up, scale, panel.road / 2, panel.height / 2);
  }

  const polygon = (pen, points) => {
    pen.beginPath();
    points.forEach(([x, y], i) => (i ? pen.lineTo(x, y) : pen.moveTo(x, y)));
    pen.closePath();
  };
  const fill = (pen, points, role) => {
    polygon(pen, points);
    pen.fillStyle = colour[role];
    pen.fill();
  };
  const stroke = (pen, points, role, width, dash = []) => {
    pen.beginPath();
    points.forEach(([x, y], i) => (i ? pen.lineTo(x, y) : pen.moveTo(x, y)));
    pen.strokeStyle = colour[role];
    pen.lineWidth = width;
    pen.setLineDash(dash);
    pen.stroke();
    pen.setLineDash([]);
  };
  const words = (pen, x, y, text, size, role = "ink", bold = false, align = "left") => {
    pen.font = `${bold ? 700 : 400} ${size}px ${family}`;
    pen.fillStyle = colour[role];
    pen.textAlign = align;
    pen.fillText(text, x, y);
  };

  function draw(panel, time) {
    const { pen, run } = panel;
    const now = moment(run, time);
    const view = chooseCamera(panel, now);
    pen.save();
    pen.beginPath();
    pen.rect(0, 0, panel.road, panel.height);
    pen.clip();
    pen.fillStyle = colour.verge;
    pen.fillRect(0, 0, panel.road, panel.height);
    drawRoad(panel, view);
    drawMarks(panel, view);
    drawPath(pen, run, now, view);
    if (panel.index > 0 && settings.ghost) drawGhost(pen, moment(runs[0], clock), view);
    drawCar(pen, now, view);
    if (enlargement(view) > 1) {
      words(pen, 8, panel.height - 8, "the car is drawn larger than it is", 11, "soft");
    }
    pen.restore();
    drawCloseUp(panel, now);
    return now;
  }

  function drawRoad(panel, view) {
    const { pen } = panel;
    const [lx, ly] = road.line;
    const reach = (0.75 * Math.hypot(panel.width, panel.height)) / view.scale;
    const near = (i) => Math.hypot(lx[i] - view.x, ly[i] - view.y) < reach;
    const part = (side, from, to) => {
      const points = [];
      for (let i = from; i <= to; i++) points.push(view.see(road[side][0][i], road[side][1][i]));
      return points;
    };
    for (let i = 0; i < lx.length; i++) {
      if (!near(i)) continue;
      const from = Math.max(i - 1, 0);
      while (i + 1 < lx.length && near(i + 1)) i++;
      const to = Math.min(i + 1, lx.length - 1);
      if (road.left) {
        const left = part("left", from, to);
        const right = part("right", from, to);
        fill(pen, [...left, ...right.slice().reverse()], "road");
        stroke(pen, left, "edge", 1.6);
        stroke(pen, right, "edge", 1.6);
      }
      stroke(pen, part("line", from, to), "edge", 1, [5, 5]);
    }
  }

  function drawMarks(panel, view) {
    const { pen } = panel;
    pen.font = `400 11px ${family}`;
    for (const mark of scene.marks) {
      const ends = mark.ends.map(([x, y]) => view.see(x, y));
      stroke(pen, ends, "ink", 1.4);
      const [end, other] = look.leftNamed.includes(mark.name) ? ends : [ends[1], ends[0]];
      const length = Math.max(Math.hypot(end[0] - other[0], end[1] - other[1]), 1e-9);
      const wayX = (end[0] - other[0]) / length;
      const wayY = (end[1] - other[1]) / length;
      const side = wayX < 0 ? "right" : "left";
      const room = pen.measureText(mark.words).width + 3;
      let x = end[0] + 5 * wayX;
      if (end[0] > 0 && end[0] < panel.road) {
        x = side === "right" ? Math.max(x, room) : Math.min(x, panel.road - room);
      }
      words(pen, x, end[1] + 9 * wayY + 4, mark.words, 11, "ink", false, side);
    }
  }

  function drawPath(pen, run, now, view) {
    const every = Math.max(1, Math.floor(0.6 / view.scale));
    const trail = [];
    for (let i = 0; i <= now.row; i += every) trail.push(view.see(run.x[i], run.y[i]));
    trail.push(view.see(now.x, now.y));
    stroke(pen, trail, "soft", 1);
    const wide = Math.max(0.24 * view.scale, 1.5);
    for (const { wheel, kind, from, to } of run.stretches) {
      if (from > now.row) continue;
      const [fx, fy] = body.wheels[wheel];
      const points = [];
      for (let i = from; i <= Math.min(to, now.row); i++) {
        const sin = Math.sin(run.heading[i]);
        const cos = Math.cos(run.heading[i]);
        points.push(view.see(run.x[i] + fx * cos - fy * sin, run.y[i] + fx * sin + fy * cos));
      }
      if (kind === 3) stroke(pen, points, "ink", wide);
      else stroke(pen, points, "ink", Math.max(0.6 * wide, 1.2), [2, 3]);
    }
  }

  // Brings a place on the car into a panel.
  function onCar(now, view, enlarged = 1) {
    const sin = enlarged * Math.sin(now.heading);
    const cos = enlarged * Math.cos(now.heading);
    return ([x, y]) => view.see(now.x + x * cos - y * sin, now.y + x * sin + y * cos);
  }

  const nose = Math.max(...body.hull.map(([x]) => x));
  const tail = Math.min(...body.hull.map(([x]) => x));
  const carLength = nose - tail;
  const enlargement = (view) => Math.max(1, look.smallest / (carLength * view.scale));

  function drawGhost(pen, planned, view) {
    const hull = body.hull.map(onCar(planned, view, enlargement(view)));
    stroke(pen, [...hull, hull[0]], "soft", 1.2, [3, 3]);
  }

  function drawCar(pen, now, view) {
    const place = onCar(now, view, enlargement(view));
    const hull = body.hull.map(place);
    fill(pen, hull, "body");
    stroke(pen, [...hull, hull[0]], "ink", 1.3);
    fill(pen, body.screen.map(place), "edge");
    now.state.forEach((state, wheel) => {
      const turn = wheel < 2 ? now.steer : 0;
      drawWheel(pen, wheelOutline(wheel, body.length, body.width, turn).map(place), state, 1);
    });
  }

  // Corners of a wheel on the car: front left first, going round by the right.
  function wheelOutline(wheel, length, width, turn) {
    const [mx, my] = body.wheels[wheel];
    const sin = Math.sin(turn);
    const cos = Math.cos(turn);
    return [[0.5, 0.5], [0.5, -0.5], [-0.5, -0.5], [-0.5, 0.5]].map(([a, b]) => {
      const x = a * length;
      const y = b * width;
      return [mx + x * cos - y * sin, my + x * sin + y * cos];
    });
  }

  const SIGNS = [
    [],
    [[[0.5, 0], [0.5, 1]]],
    [0.12, 0.39, 0.66].map((a) => [[a, 0], [a + 0.22, 1]]),
    [[[0.12, 0.08], [0.88, 0.92]], [[0.12, 0.92], [0.88, 0.08]]],
  ];

  function drawWheel(pen, corners, state, weight) {
    fill(pen, corners, `wheel${state}`);
    stroke(pen, [...corners, corners[0]], "ink", weight);
    const [first, right, , back] = corners;
    for (const sign of SIGNS[state]) {
      const ends = sign.map(([a, b]) =>
        [0, 1].map((i) => first[i] + a * (back[i] - first[i]) + b * (right[i] - first[i])),
      );
      stroke(pen, ends, `sign${state}`, weight);
    }
  }

  // ------------------------------------------------------------ the car close up

  const speedUnit = scene.units === "metric" ? ["km/h", 3.6] : ["mph", 3600 / 1609.344];
  const shownSpeed = (now) => (now.speed * speedUnit[1]).toFixed(0);

  function bar(pen, x, y, width, text, part, role) {
    const start = x + 36;
    words(pen, x, y, text, 11, role);
    pen.fillStyle = colour.field1;
    pen.fillRect(start, y - 7, width - 36, 7);
    pen.fillStyle = colour[role];
    pen.fillRect(start, y - 7, (width - 36) * clamp(part, 0, 1), 7);
    pen.strokeStyle = colour.edge;
    pen.lineWidth = 0.8;
    pen.strokeRect(start, y - 7, width - 36, 7);
  }

  function drawCloseUp(panel, now) {
    const { pen } = panel;
    const x = panel.road + 10;
    const wide = panel.close - 20;
    pen.fillStyle = colour.paper;
    pen.fillRect(panel.road, 0, panel.close, panel.height);
    const number = shownSpeed(now);
    words(pen, x, 30, number, 26, "ink", true);
    const after = pen.measureText(number).width;
    words(pen, x + after + 4, 30, speedUnit[0], 12, "soft");
    bar(pen, x, 52, wide, "pedal", now.pedal / scene.pedal, "ink");
    drawCloseCar(panel, now);
    const base = panel.height - 52;
    words(pen, x, base - 8, "grip used", 11, "soft");
    bar(pen, x, base + 12, wide, "front", now.front, "front");
    bar(pen, x, base + 36, wide, "rear", now.rear, "rear");
  }

  function drawCloseCar(panel, now) {
    const { pen } = panel;
    const scale = (look.carLength * panel.height) / carLength;
    const atY = look.carMiddle * panel.height;
    const view = camera((nose + tail) / 2, 0, 0, scale, panel.road + panel.close / 2, atY);
    const place = ([x, y]) => view.see(x, y);
    const hull = body.hull.map(place);
    fill(pen, hull, "body");
    stroke(pen, [...hull, hull[0]], "edge", 1.3);
    fill(pen, body.screen.map(place), "edge");
    stroke(pen, body.wheels.slice(0, 2).map(place), "front", 3);
    stroke(pen, body.wheels.slice(2).map(place), "rear", 3);
    if (now.speed > look.standing) {
      const way = 0.42 * carLength;
      const tip = [way * Math.cos(now.slip), way * Math.sin(now.slip)];
      stroke(pen, [[0, 0], tip].map(place), "ink", 1.6, [4, 3]);
    }
    now.state.forEach((state, wheel) => drawCloseWheel(pen, now, wheel, state, place));
  }

  function drawCloseWheel(pen, now, wheel, state, place) {
    const turn = wheel < 2 ? now.steer : 0;
    const outline = wheelOutline(wheel, look.enlarged * body.length, look.enlarged * body.width, turn);
    const corners = outline.map(place);
    const centre = place(body.wheels[wheel]);
    drawWheel(pen, corners, state, 1.5);
    if (settings.push) {
      const [along, across] = now.push[wheel];
      const sin = Math.sin(turn);
      const cos = Math.cos(turn);
      const way = [-along * sin - across * cos, across * sin - along * cos];
      drawArrow(pen, centre, way.map((part) => part * look.push), wheel < 2 ? "front" : "rear");
    }
    if (state > 0) {
      const y = wheel < 2 ? place([nose, 0])[1] - 6 : place([tail, 0])[1] + 14;
      words(pen, centre[0], y, look.short[state], 11, "ink", true, "center");
    }
  }

  function drawArrow(pen, [x, y], [dx, dy], role) {
    const length = Math.hypot(dx, dy);
    if (length < 5) return;
    const ax = dx / length;
    const ay = dy / length;
    const tip = [x + dx, y + dy];
    const back = [tip[0] - 5 * ax, tip[1] - 5 * ay];
    stroke(pen, [[x, y], back], role, 2);
    fill(pen, [tip, [back[0] - 3 * ay, back[1] + 3 * ax], [back[0] + 3 * ay, back[1] - 3 * ax]], role);
  }

  // ------------------------------------------------------------ the clock

  const settings = { rate: 1, align: "time", camera: "follow", axis: "time", push: true, ghost: true };
  settings.repeat = false;
  let clock = 0;
  let playing = false;
  let last = 0;
  let held = 0;
  const HOLD_S = 1;

  const end = () => (settings.align === "place" ? runs[0].duration : scene.duration);

  // At what time of its own each run is shown; at the same place, the first run sets the place.
  function ownTime(run) {
    if (settings.align === "time" || run === runs[0]) return { time: clock, there: true };
    const time = reaches(run, moment(runs[0], clock).s);
    return Number.isNaN(time) ? { time: run.duration, there: false } : { time, there: true };
  }

  function show() {
    clock = clamp(clock, 0, end());
    const shown = panels.map((panel) => {
      const { time, there } = ownTime(panel.run);
      const now = draw(panel, time);
      moveLine(panel, time, now);
      tellGap(panel, time, there, now);
      return now;
    });
    const text = `${clock.toFixed(2)} s`;
    $("clock").textContent = text;
    $("time").value = clock.toFixed(2);
    $("time").setAttribute("aria-valuetext", `${clock.toFixed(2)} seconds`);
    return shown;
  }

  const lines = panels.map(({ index }) => $(`charts${index}`).querySelector(".now"));

  function moveLine(panel, time, now) {
    const part =
      settings.axis === "time"
        ? Math.min(time, panel.run.duration) / scene.duration
        : (panel.run.farthest[now.row] - chart.low) / (chart.high - chart.low);
    const x = clamp(part, 0, 1) * (chart.right - chart.left);
    lines[panel.index].setAttribute("transform", `translate(${x.toFixed(2)} 0)`);
  }

  function tellGap(panel, time, there, now) {
    let text = "";
    if (settings.align === "place" && panel.index > 0) {
      const gap = time - clock;
      text = there ? `${gap < 0 ? "−" : "+"}${Math.abs(gap).toFixed(2)} s` : "does not get here";
    } else if (now.over) text = "end of this run";
    const place = $(`gap${panel.index}`);
    if (place.textContent !== text) place.textContent = text;
  }

  // What stands still is told in words to who does not see it.
  function tell(shown) {
    const said = shown.map((now, index) => {
      const busy = [0, 1, 2, 3]
        .filter((wheel) => now.state[wheel] > 0)
        .map((wheel) => `${look.wheels[wheel]} ${look.words[now.state[wheel]]}`);
      const name = $(`run${index}`).textContent;
      const gap = $(`gap${index}`).textContent;
      const wheels = busy.join(", ") || "all wheels rolling";
      const sentence = `${shownSpeed(now)} ${speedUnit[0]}, ${wheels}${gap && `, ${gap}`}.`;
      $(`words${index}`).textContent = sentence;
      return `${name}: ${sentence}`;
    });
    $("status").textContent = `${clock.toFixed(2)} seconds. ${said.join(" ")}`;
  }

  function tick(stamp) {
    if (!playing) return;
    const passed = Math.min(stamp - last, 100) / 1000;
    last = stamp;
    clock += passed * settings.rate;
    const over = clock >= end();
    held = over ? held + passed : 0;
    if (over && settings.repeat && held > HOLD_S) clock = 0;
    const shown = show();
    if (over && !settings.repeat) {
      setPlaying(false);
      tell(shown);
    } else requestAnimationFrame(tick);
  }

  function setPlaying(on) {
    playing = on;
    $("play-word").textContent = on ? "Pause" : "Play";
    $("play-sign").setAttribute("d", on ? "M4 3H8V17H4ZM12 3H16V17H12Z" : "M5 3L17 10L5 17Z");
  }

  function play() {
    if (playing) return;
    if (clock >= end() - 1e-6) clock = 0;
    setPlaying(true);
    last = performance.now();
    requestAnimationFrame(tick);
  }

  function pause() {
    if (!playing) return;
    setPlaying(false);
    tell(show());
  }

  function seek(time) {
    clock = time;
    const shown = show();
    if (!playing) tell(shown);
  }

  const toggle = () => (playing ? pause() : play());

  // ------------------------------------------------------------ hands

  $("play").addEventListener("click", toggle);
  $("restart").addEventListener("click", () => seek(0));
  $("time").addEventListener("input", (event) => seek(Number(event.target.value)));
  $("controls").addEventListener("submit", (event) => event.preventDefault());
  $("controls").addEventListener("change", (event) => {
    const { name, type, value, checked } = event.target;
    if (!(name in settings)) return;
    settings[name] = type === "checkbox" ? checked : name === "rate" ? Number(value) : value;
    $("time").max = end().toFixed(2);
    for (const axis of ["time", "distance"]) {
      for (const one of document.querySelectorAll(`.over-${axis}`)) {
        one.setAttribute("display", axis === settings.axis ? "inline" : "none");
      }
    }
    seek(clock);
  });

  for (const button of document.querySelectorAll(".jump")) {
    const run = runs[Number(button.closest(".run").dataset.run)];
    button.addEventListener("click", () => {
      pause();
      seekOwn(run, Number(button.dataset.time));
    });
  }

  // Go to a time of one run; at the same place, the clock is that of the first run.
  function seekOwn(run, time) {
    if (settings.align === "time" || run === runs[0]) return seek(time);
    const first = reaches(runs[0], moment(run, time).s);
    return seek(Number.isNaN(first) ? runs[0].duration : first);
  }

  for (const panel of panels) {
    const figure = $(`charts${panel.index}`);
    const goTo = (event) => {
      const box = figure.querySelector("svg").getBoundingClientRect();
      const x = ((event.clientX - box.left) / box.width) * chart.width;
      const part = clamp((x - chart.left) / (chart.right - chart.left), 0, 1);
      if (settings.axis === "time") return seekOwn(panel.run, part * scene.duration);
      const time = reaches(panel.run, chart.low + part * (chart.high - chart.low));
      return seekOwn(panel.run, Number.isNaN(time) ? panel.run.duration : time);
    };
    figure.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      pause();
      goTo(event);
    });
    figure.addEventListener("pointermove", (event) => event.buttons & 1 && goTo(event));
  }

  const KEYS = {
    ArrowLeft: (big) => clock - (big ? 0.5 : 0.05),
    ArrowRight: (big) => clock + (big ? 0.5 : 0.05),
    Home: () => 0,
    End: () => end(),
  };
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const { target } = event;
    const choosing = target.matches("input:not(#time), summary");
    if (event.key === " " && !choosing && !target.matches("button")) {
      event.preventDefault();
      toggle();
    } else if (event.key in KEYS && !choosing) {
      event.preventDefault();
      pause();
      seek(KEYS[event.key](event.shiftKey));
    }
  });

  // ------------------------------------------------------------ beginning

  const redraw = () => {
    panels.forEach(measure);
    show();
  };
  document.documentElement.classList.add("live");
  $("controls").hidden = false;
  if (matchMedia("(max-width: 43.99rem)").matches) $("more").open = false;
  readColours();
  redraw();
  tell(show());
  new ResizeObserver(redraw).observe(panels[0].canvas);
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
    readColours();
    show();
  });
  document.fonts.ready.then(show);
  if (!matchMedia("(prefers-reduced-motion: reduce)").matches) play();
})();
