//! Drawings survive everything a calculation may hand over.

use sensewright_core::judge::Verdict;
use sensewright_core::quantity::Unit;
use sensewright_core::report::{Axis, Chart, Curve, LineRow, Mark, NumberLine, Spot, Spots, Stroke};

use super::{chart, lane, number_line, spots};
use crate::page::tests as sample;

fn assert_sound(drawing: &str) {
    for bad in ["NaN", "inf", "=\"\"", "\"--"] {
        assert!(!drawing.contains(bad), "{bad} in {drawing}");
    }
    for number in [" x=\"", " y=\"", " x1=\"", " y1=\"", " x2=\"", " y2=\"", " cx=\"", " cy=\""] {
        for text in drawing.split(number).skip(1).filter_map(|rest| rest.split('"').next()) {
            let value: f64 = text.parse().unwrap_or_else(|_| panic!("{number}{text}"));
            assert!((-400.0..=1100.0).contains(&value), "{number}{text} lies outside");
        }
    }
    for list in drawing.split("points=\"").skip(1).filter_map(|rest| rest.split('"').next()) {
        for pair in list.split(' ') {
            let (x, y) = pair.split_once(',').unwrap_or_else(|| panic!("{pair}"));
            for value in [x, y] {
                let value: f64 = value.parse().unwrap_or_else(|_| panic!("{pair}"));
                assert!((-400.0..=1100.0).contains(&value), "{pair} lies outside");
            }
        }
    }
}

#[test]
fn charts_survive_extremes() {
    let lists: [&[[f64; 2]]; 12] = [
        &[],
        &[[1.0, 1.0]],
        &[[0.0, 0.0], [0.0, 0.0]],
        &[[1.0, 5.0], [2.0, 5.0], [3.0, 5.0]],
        &[[1e-300, 1e-300], [1e300, 1e300]],
        &[[-1.0, -1e99], [1.0, 1e99]],
        &[[f64::NAN, 1.0], [1.0, f64::INFINITY], [2.0, 2.0]],
        &[[-5.0, -5.0], [0.0, 0.0], [5.0, 5.0]],
        &[[5.0, 1.0], [5.0, 2.0]],
        &[[1e-12, 1e12], [1e12, 1e-12]],
        &[[0.1, 0.1 + 1e-16], [0.2, 0.1]],
        &[[-0.0, -0.0]],
    ];
    for log_x in [true, false] {
        for log_y in [true, false] {
            for unit in [Unit::Percent, Unit::Volt, Unit::One] {
                for points in lists {
                    let mut with = sample::chart("x");
                    with.x = Axis { label: "a".into(), unit, log: log_x };
                    with.y = Axis { label: "b".into(), unit, log: log_y };
                    for curve in &mut with.curves {
                        curve.points = points.to_vec();
                    }
                    with.marks = points.iter().map(|[x, y]| Mark { x: *x, y: *y, label: "m".repeat(40) }).collect();
                    assert_sound(&chart::both(&with));
                    assert_sound(&chart::both(&Chart { curves: Vec::new(), ..with.clone() }));
                    assert_sound(&chart::both(&Chart { marks: Vec::new(), ..with }));
                }
            }
        }
    }
}

#[test]
fn the_end_labels_never_overlap() {
    let mut with = sample::chart("x");
    with.curves = (0..8)
        .map(|index| Curve {
            label: format!("curve {index}"),
            stroke: Stroke::Main,
            points: vec![[0.0, 1.0], [1.0, 1.0 + f64::from(index) * 1e-3]],
        })
        .collect();
    let drawing = chart::one(&with, super::Size::Wide);
    let mut levels: Vec<f64> = drawing
        .split("<text class=\"tb\"")
        .skip(1)
        .filter(|rest| rest.contains("curve"))
        .filter_map(|rest| rest.split("y=\"").nth(1)?.split('"').next()?.parse().ok())
        .collect();
    levels.sort_by(f64::total_cmp);
    assert!(levels.windows(2).all(|pair| pair[1] - pair[0] >= 13.9), "{levels:?}");
}

#[test]
fn a_label_with_no_room_of_its_own_is_left_out_of_the_narrow_drawing() {
    let mut with = sample::chart("x");
    // Beside and above each other there is room for a few.
    let names: Vec<String> = (0..12).map(|number| format!("number {number}.")).collect();
    with.marks =
        (0..12).zip(&names).map(|(at, name)| Mark { x: 400.0 + f64::from(at), y: 64.0, label: name.clone() }).collect();
    let labels = |size| {
        let drawing = chart::one(&with, size);
        names.iter().map(|name| drawing.matches(&format!(">{name}</text>")).count()).collect::<Vec<_>>()
    };
    assert_eq!(labels(super::Size::Wide), [1; 12]);
    let narrow = labels(super::Size::Narrow);
    assert_eq!((narrow[0], narrow[11]), (1, 0), "{narrow:?}");
}

#[test]
fn lanes_survive_extremes() {
    for shares in [
        &[] as &[f64],
        &[0.0],
        &[1e300, 1e300],
        &[f64::NAN, f64::INFINITY, -5.0],
        &[99.0, 1.0, 50.0],
        &[1e-9; 12],
        &[30.0, 30.0, 30.0],
    ] {
        let lane = sample::lane(&"word ".repeat(30), shares);
        assert_sound(&lane::both(&lane));
    }
}

fn number_line(title: &str, unit: Unit, [normal, nuisance_edge, threshold, harm_edge, hazard]: [f64; 5]) -> NumberLine {
    let row = LineRow {
        label: format!("Function {title}"),
        reading: format!("It holds {title}"),
        unit,
        difference: unit,
        normal,
        nuisance_edge,
        harm_edge,
        hazard,
        threshold,
        chosen: true,
        error: (nuisance_edge - normal).abs(),
        verdict: Verdict::Thin,
    };
    NumberLine {
        id: "line".into(),
        finding: title.into(),
        conditions: title.into(),
        title: title.into(),
        rows: vec![row.clone(), row],
        table: sample::chart("x").table,
    }
}

#[test]
fn number_lines_survive_extremes_both_ways() {
    for values in [
        [4.2, 4.206, 4.25, 4.29, 4.3],
        [2.8, 2.79, 2.4, 2.1, 2.0],
        // No room, far outside, nothing in between, hopeless numbers.
        [52.0, 58.0, 56.0, 53.0, 60.0],
        [0.0, 1e300, 1.0, -1e300, 1.0],
        [1.0, 1.0, 1.0, 1.0, 1.0 + 1e-15],
        [1e-300, 2e-300, 2e-300, 2e-300, 3e-300],
        [f64::NAN, f64::INFINITY, 0.0, 0.0, 1.0],
        [0.0, 0.0, 0.0, 0.0, 0.0],
    ] {
        for unit in [Unit::Volt, Unit::Celsius, Unit::Ampere] {
            assert_sound(&number_line::both(&number_line("x", unit, values)));
        }
    }
}

/// Operation stands left of an over-limit and right of an under-limit.
#[test]
fn an_under_limit_is_mirrored() {
    let place = |class: &str, values| {
        let drawing = number_line::one(&number_line("x", Unit::Volt, values), super::Size::Wide);
        let rest = drawing.split(class).nth(1).expect("it is drawn").to_owned();
        let number = rest.split_once("=\"").expect("a coordinate").1.split('"').next().expect("its end").to_owned();
        number.parse::<f64>().expect("a number")
    };
    let (over, under) = ([4.2, 4.21, 4.25, 4.29, 4.3], [2.8, 2.79, 2.4, 2.1, 2.0]);
    assert!(place("\"n-oper\"", over) < place("\"n-lim\"", over));
    assert!(place("\"n-oper\"", under) > place("\"n-lim\"", under));
}

#[test]
fn drawings_escape_their_words() {
    for drawing in [
        chart::both(&sample::chart(sample::HOSTILE)),
        lane::both(&sample::lane(sample::HOSTILE, &[50.0])),
        number_line::both(&number_line(sample::HOSTILE, Unit::Volt, [4.2, 4.21, 4.25, 4.29, 4.3])),
    ] {
        assert!(!drawing.contains("<script") && drawing.contains("&lt;script&gt;"), "{drawing}");
    }
}

fn spots_of(title: &str, matters: f64, latest: Option<f64>, all: &[(f64, Option<f64>)]) -> Spots {
    let spot = |(index, (x, y)): (usize, &(f64, Option<f64>))| Spot {
        x: *x,
        span: [-x.abs(), x.abs()],
        y: *y,
        share: *x,
        shape: y.map(|_| index),
        label: format!("mode {title} {index}"),
    };
    Spots {
        id: "faults-1".into(),
        finding: title.into(),
        conditions: title.into(),
        title: title.into(),
        x: Axis::linear("deviation", Unit::Volt),
        y: Axis::log("handled after", Unit::Second),
        never: "never".into(),
        matters: (matters, [true, false]),
        latest,
        shapes: all.iter().map(|_| title.to_owned()).collect(),
        spots: all.iter().enumerate().map(spot).collect(),
        table: sample::chart("x").table,
    }
}

#[test]
fn marks_over_a_plane_survive_extremes() {
    let lists: [&[(f64, Option<f64>)]; 6] = [
        &[],
        &[(0.0, None)],
        &[(1e300, Some(1e300)), (-1e-300, Some(1e-300))],
        &[(f64::NAN, Some(f64::NAN)), (f64::INFINITY, None)],
        &[(5.0, Some(0.1)); 40],
        &[(-5.0, None); 100],
    ];
    for all in lists {
        for matters in [0.0, 1e-9, 8.3, 1e12, f64::NAN] {
            for latest in [None, Some(0.5), Some(0.0)] {
                assert_sound(&spots::both(&spots_of("x", matters, latest, all)));
            }
        }
    }
    let hostile = spots::both(&spots_of(sample::HOSTILE, 8.3, Some(0.5), &[(-20.0, None), (5.0, Some(0.1))]));
    assert!(!hostile.contains("<script"), "{hostile}");
}

/// A mark that nobody sees is hollow and stands above the axis; the ground is red on the side that matters alone.
#[test]
fn what_nobody_sees_stands_above_all() {
    let drawing = spots::one(&spots_of("x", 8.3, Some(0.5), &[(-20.0, None), (-30.0, Some(0.1))]), super::Size::Wide);
    let level = |class: &str| -> f64 {
        let rest = drawing.split(class).nth(1).unwrap_or_default();
        rest.split(['y', 'c'])
            .find_map(|part| part.strip_prefix("=\"")?.split('"').next()?.parse().ok())
            .unwrap_or(f64::NAN)
    };
    assert!(drawing.contains("s-not") && drawing.contains("s-seen"), "{drawing}");
    assert!(level("class=\"s-not\"") < level("class=\"s-seen\""), "{drawing}");
    assert_eq!(drawing.matches("h-ground").count(), 1, "{drawing}");
}

#[test]
fn a_line_keeps_the_points_at_which_it_bends() {
    let straight: Vec<[f64; 2]> = (0..=60).map(|step| [f64::from(step), 2.0 * f64::from(step)]).collect();
    assert_eq!(super::bends(&straight), [[0.0, 0.0], [60.0, 120.0]]);
    let mut bent = straight.clone();
    bent.push([60.0, 0.0]);
    assert_eq!(super::bends(&bent), [[0.0, 0.0], [60.0, 120.0], [60.0, 0.0]]);
    // There and back is a bend as well.
    assert_eq!(super::bends(&[[0.0, 0.0], [9.0, 0.0], [3.0, 0.0]]), [[0.0, 0.0], [9.0, 0.0], [3.0, 0.0]]);
    assert_eq!(super::bends(&[[1.0, 1.0]]), [[1.0, 1.0]]);
    assert!(super::bends(&[]).is_empty());
    // No point of a curve is further from what is drawn than its coordinates are rounded.
    let curve: Vec<[f64; 2]> = (0..=60).map(|step| [f64::from(step), f64::from(step * step) / 40.0]).collect();
    let kept = super::bends(&curve);
    assert!(kept.len() < curve.len());
    for point in &curve {
        let near = kept.windows(2).map(|ends| super::aside(*point, ends[0], ends[1])).fold(f64::INFINITY, f64::min);
        assert!(near <= super::ROUNDED, "{point:?}: {near}");
    }
}

/// By hand: 1.17 of 11.67 mm is 10 % of the drawing, and no label is narrower.
#[test]
fn labels_of_marks_that_lie_close_do_not_cover_each_other() {
    let mut with = sample::chart("x");
    let ends = [9.2, 10.5, 11.67];
    with.curves.truncate(ends.len());
    for (curve, end) in with.curves.iter_mut().zip(ends) {
        curve.points = vec![[0.0, 830.0], [end, 0.0]];
    }
    with.marks = ends.iter().map(|x| Mark { x: *x, y: 0.0, label: format!("{x} mm") }).collect();
    let drawing = chart::both(&with);
    let wide = drawing.split("</svg>").next().expect("a drawing");
    let areas: Vec<[f64; 4]> = ends
        .iter()
        .filter_map(|x| {
            let label = format!("{x} mm");
            let (before, _) = wide.split_once(&format!(">{label}</text>"))?;
            let tag = before.rsplit("<text").next()?;
            let number = |name: &str| tag.split_once(name)?.1.split('"').next()?.parse::<f64>().ok();
            let (end, base) = (number(" x=\"")?, number(" y=\"")?);
            // Bold letters of 12.5 units are 0.66 of that wide.
            let width = label.chars().count() as f64 * 12.5 * 0.66;
            let start = if tag.contains(" te\"") { end - width } else { end };
            Some([start, base - 9.0, start + width, base + 2.0])
        })
        .collect();
    assert_eq!(areas.len(), ends.len());
    for (at, one) in areas.iter().enumerate() {
        assert_eq!(super::label::overlap(*one, &areas[..at]), 0.0, "{areas:?}");
    }
}
