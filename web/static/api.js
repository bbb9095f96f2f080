/* Filters the sections of the API reference. Without it, all of them show. */
(function () {
  'use strict';
  var box = document.querySelector('[data-filter]');
  var input = document.getElementById('filter');
  var status = document.getElementById('live-status');
  if (!box || !input) return;
  box.hidden = false;
  var sections = Array.prototype.slice.call(document.querySelectorAll('[data-section]'));
  var words = sections.map(function (section) { return section.textContent.toLowerCase(); });
  input.addEventListener('input', function () {
    var wanted = input.value.toLowerCase().split(/\s+/).filter(Boolean);
    var shown = 0;
    sections.forEach(function (section, index) {
      var fits = wanted.every(function (word) { return words[index].indexOf(word) >= 0; });
      section.hidden = !fits;
      if (fits) shown += 1;
    });
    status.textContent = wanted.length ? shown + ' of ' + sections.length + ' sections.' : '';
  });
}());
