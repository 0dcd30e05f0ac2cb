"use strict";
(function () {
  // Figures: three digits, as the words beside them have.
  function hertz(v) {
    return v < 999.5 ? v.toFixed(0) + " Hz" : (v / 1000).toFixed(v < 9995 ? 2 : 1) + " kHz";
  }
  function decibels(v) {
    var s = v.toFixed(1);
    return (s === "-0.0" ? "+0.0" : v > 0 || s === "0.0" ? "+" + s : s) + " dB";
  }
  // Points further apart than a third of an octave have nothing between them that was measured.
  var HOLE = 1.26;
  function value(points, hz) {
    for (var i = 0; i < points.length; i++) {
      var b = points[i], a = points[i - 1];
      if (b[0] < hz) continue;
      if (b[0] === hz) return b[1];
      if (!a || b[0] / a[0] > HOLE) return null;
      return a[1] + (b[1] - a[1]) * Math.log(hz / a[0]) / Math.log(b[0] / a[0]);
    }
    return null;
  }

  function pointer(figure) {
    var reads = JSON.parse(figure.dataset.reads);
    var svg = figure.querySelector("svg"), box = figure.querySelector(".pointer");
    var slider = box.querySelector("input"), words = box.querySelector("p");
    var view = svg.viewBox.baseVal, unit = view.width / parseFloat(svg.getAttribute("width"));
    var left = reads.across_mm[0], wide = reads.across_mm[1] - left, span = Math.log(reads.hz[1] / reads.hz[0]);
    var line = document.createElementNS("http://www.w3.org/2000/svg", "line");
    line.setAttribute("class", "at");
    line.setAttribute("stroke-width", 0.3 * unit);
    line.setAttribute("y1", reads.down_mm[0] * unit);
    line.setAttribute("y2", reads.down_mm[1] * unit);
    line.setAttribute("visibility", "hidden");
    svg.appendChild(line);
    function show() {
      var part = slider.value / 1000, hz = reads.hz[0] * Math.exp(part * span);
      var x = (left + part * wide) * unit;
      line.setAttribute("x1", x);
      line.setAttribute("x2", x);
      var told = reads.curves.map(function (c) {
        var v = value(c.points, hz);
        return (c.name ? c.name + " " : "") + (v === null ? "nothing here" : decibels(v));
      });
      words.textContent = hertz(hz) + ": " + told.join(", ");
      slider.setAttribute("aria-valuetext", words.textContent);
    }
    slider.addEventListener("input", function () {
      line.setAttribute("visibility", "visible");
      show();
    });
    svg.addEventListener("pointermove", function (e) {
      var at = svg.getBoundingClientRect();
      var x = (e.clientX - at.left) / at.width * view.width / unit;
      slider.value = Math.round(1000 * Math.min(1, Math.max(0, (x - left) / wide)));
      line.setAttribute("visibility", "visible");
      show();
    });
    box.hidden = false;
    show();
  }

  function sorts(table) {
    var heads = Array.prototype.slice.call(table.tHead.rows[0].cells), body = table.tBodies[0];
    function key(row, i) {
      var cell = row.cells[i], text = cell ? cell.textContent.trim() : "";
      return cell && cell.dataset.value !== undefined ? Number(cell.dataset.value) : text;
    }
    function order(a, b) {
      if (typeof a === "number" && typeof b === "number") return a - b;
      if (typeof a !== typeof b) return typeof a === "number" ? -1 : 1;
      return a.localeCompare(b, undefined, { numeric: true });
    }
    heads.forEach(function (head, i) {
      var button = document.createElement("button");
      button.type = "button";
      while (head.firstChild) button.appendChild(head.firstChild);
      head.appendChild(button);
      button.addEventListener("click", function () {
        var down = head.getAttribute("aria-sort") === "ascending";
        heads.forEach(function (h) { h.removeAttribute("aria-sort"); });
        head.setAttribute("aria-sort", down ? "descending" : "ascending");
        var rows = Array.prototype.slice.call(body.rows).map(function (r) { return [key(r, i), r]; });
        rows.sort(function (x, y) {
          // What has nothing to be sorted by comes last, whichever way.
          if (x[0] === "" || y[0] === "") return (x[0] === "") - (y[0] === "");
          return down ? order(y[0], x[0]) : order(x[0], y[0]);
        });
        rows.forEach(function (r) { body.appendChild(r[1]); });
      });
    });
  }

  document.querySelectorAll("figure[data-reads]").forEach(pointer);
  document.querySelectorAll("table.sorts").forEach(sorts);
})();
