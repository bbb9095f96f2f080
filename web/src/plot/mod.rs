//! # Drawings
//!
//! Inline SVG: geometry in attributes, look in the classes of `charts.css`. Wide charts come twice, 820 and 360 units
//! across, so that letters keep their size; the style sheet shows one of the two.

pub mod axes;
pub mod bars;
pub mod chart;
pub mod dots;
pub mod label;
pub mod lane;
pub mod number_line;
pub mod spots;
pub mod strip;

use std::fmt::Write as _;

/// Which of the two drawings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Size {
    /// For wide windows.
    Wide,
    /// For narrow ones.
    Narrow,
}

impl Size {
    /// The class that shows it.
    pub const fn class(self) -> &'static str {
        match self {
            Self::Wide => "only-w",
            Self::Narrow => "only-n",
        }
    }
}

/// How far a coordinate that is written may be from its place.
const ROUNDED: f64 = 0.1;

/// Text of a drawing, escaped.
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // Not allowed in XML, and a drawing is also a file.
            letter if letter.is_control() => out.push(' '),
            letter => out.push(letter),
        }
    }
    out
}

/// A coordinate: one decimal where it has any, and never a text that is not a number.
pub fn at(value: f64) -> String {
    let value = if value.is_finite() { value.clamp(-1e5, 1e5) } else { 0.0 };
    let text = format!("{value:.1}");
    match text.strip_suffix(".0") {
        Some("-0") => "0".into(),
        Some(whole) => whole.into(),
        None => text,
    }
}

/// An id made of a name that a calculation chose.
pub fn id(name: &str) -> String {
    name.chars().map(|letter| if letter.is_ascii_alphanumeric() { letter } else { '-' }).collect()
}

/// One drawing under construction.
#[derive(Debug)]
pub struct Canvas {
    body: String,
}

impl Canvas {
    /// Starts a drawing that is an image with a title and a description. Both drawings of a picture are told in the same
    /// words: the wide one holds them, the narrow one stands beside it and refers to them.
    pub fn image(size: Size, width: f64, height: f64, id: &str, title: &str, description: &str) -> Self {
        let class = size.class();
        let mut body = format!(
            "<svg class=\"{class}\" viewBox=\"0 0 {width:.0} {height:.0}\" role=\"img\" aria-labelledby=\"{id}-t {id}-d\">"
        );
        if size == Size::Wide {
            let (title, description) = (escape(title), escape(description));
            let _ = write!(body, "<title id=\"{id}-t\">{title}</title><desc id=\"{id}-d\">{description}</desc>");
        }
        Self { body }
    }

    /// A straight line.
    pub fn line(&mut self, class: &str, from: [f64; 2], to: [f64; 2]) {
        let [x1, y1, x2, y2] = [from[0], from[1], to[0], to[1]].map(at);
        let _ = write!(self.body, "<line class=\"{class}\" x1=\"{x1}\" y1=\"{y1}\" x2=\"{x2}\" y2=\"{y2}\"/>");
    }

    /// Straight lines that look alike, as one path.
    pub fn lines(&mut self, class: &str, lines: &[[[f64; 2]; 2]]) {
        let each = lines.iter().map(|[from, to]| {
            let [x1, y1, x2, y2] = [from[0], from[1], to[0], to[1]].map(at);
            let to = if y1 == y2 { format!("H{x2}") } else { format!("L{x2},{y2}") };
            format!("M{x1},{y1}{to}")
        });
        let _ = write!(self.body, "<path class=\"{class}\" d=\"{}\"/>", each.collect::<String>());
    }

    /// An open line.
    pub fn polyline(&mut self, class: &str, points: &[[f64; 2]]) {
        let _ = write!(self.body, "<polyline class=\"{class}\" points=\"{}\"/>", pairs(&bends(points)));
    }

    /// A closed shape.
    pub fn polygon(&mut self, class: &str, points: &[[f64; 2]]) {
        let _ = write!(self.body, "<polygon class=\"{class}\" points=\"{}\"/>", pairs(points));
    }

    /// A rectangle between two corners in any order.
    pub fn rect(&mut self, class: &str, a: [f64; 2], b: [f64; 2]) {
        let [x, y] = [a[0].min(b[0]), a[1].min(b[1])].map(at);
        let [wide, high] = [(a[0] - b[0]).abs(), (a[1] - b[1]).abs()].map(at);
        let _ = write!(self.body, "<rect class=\"{class}\" x=\"{x}\" y=\"{y}\" width=\"{wide}\" height=\"{high}\"/>");
    }

    /// A dot.
    pub fn dot(&mut self, class: &str, centre: [f64; 2], radius: f64) {
        let [x, y, r] = [centre[0], centre[1], radius].map(at);
        let _ = write!(self.body, "<circle class=\"{class}\" cx=\"{x}\" cy=\"{y}\" r=\"{r}\"/>");
    }

    /// A line of text.
    pub fn text(&mut self, class: &str, place: [f64; 2], text: &str) {
        let [x, y] = place.map(at);
        let class = if class.is_empty() { String::new() } else { format!(" class=\"{class}\"") };
        let _ = write!(self.body, "<text{class} x=\"{x}\" y=\"{y}\">{}</text>", escape(text));
    }

    /// The finished drawing.
    pub fn finish(mut self) -> String {
        self.body.push_str("</svg>");
        self.body
    }
}

/// The points at which a line bends: without the others no place of it moves by more than its coordinates are rounded.
fn bends(points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut kept = Vec::with_capacity(points.len());
    let mut from = 0;
    for to in 1..points.len() {
        let straight = points[from + 1..to].iter().all(|point| aside(*point, points[from], points[to]) <= ROUNDED);
        if !straight {
            kept.push(points[from]);
            from = to - 1;
        }
    }
    kept.extend(points.get(from));
    kept.extend(points.last().filter(|_| from + 1 < points.len()));
    kept
}

/// How far a point is from the straight line between two others; without a number, far.
fn aside(point: [f64; 2], from: [f64; 2], to: [f64; 2]) -> f64 {
    let [along, off] = [[to[0] - from[0], to[1] - from[1]], [point[0] - from[0], point[1] - from[1]]];
    let square = along[0] * along[0] + along[1] * along[1];
    let share = ((off[0] * along[0] + off[1] * along[1]) / square).clamp(0.0, 1.0);
    let far = (off[0] - share * along[0]).hypot(off[1] - share * along[1]);
    if far.is_nan() { f64::INFINITY } else { far }
}

fn pairs(points: &[[f64; 2]]) -> String {
    let texts: Vec<String> = points.iter().map(|[x, y]| format!("{},{}", at(*x), at(*y))).collect();
    texts.join(" ")
}

#[cfg(test)]
mod tests;
