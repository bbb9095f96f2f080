// Filters the API reference: operations by their words and the names of their fields, fields by theirs. Without it, all show.
(function () {
  'use strict';
  var box = document.querySelector('[data-filter]');
  var input = document.getElementById('filter');
  var status = document.getElementById('live-status');
  if (!box || !input) return;
  box.hidden = false;
  var all = function (what) { return Array.prototype.slice.call(document.querySelectorAll(what)); };
  var sections = all('[data-section]');
  var folds = all('details.fold');
  var words = sections.map(function (section) {
    return (section.textContent + ' ' + (section.getAttribute('data-words') || '')).toLowerCase();
  });
  input.addEventListener('input', function () {
    var wanted = input.value.toLowerCase().split(/\s+/).filter(Boolean);
    var shown = 0;
    sections.forEach(function (section, index) {
      var fits = wanted.every(function (word) { return words[index].indexOf(word) >= 0; });
      section.hidden = !fits;
      if (fits) shown += 1;
    });
    // What is folded opens where something inside fits.
    folds.forEach(function (fold) {
      fold.open = wanted.length > 0 && fold.querySelector('[data-section]:not([hidden])') !== null;
    });
    status.textContent = wanted.length ? shown + ' of ' + sections.length + ' fit.' : '';
  });
}());
