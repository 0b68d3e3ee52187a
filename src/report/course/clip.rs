//! Cuts lines and areas at the edge of a frame, so that a drawing needs no mask.

/// A rectangle: lowest and highest x, lowest and highest y.
#[derive(Clone, Copy)]
pub(super) struct Edge {
    pub(super) x: (f64, f64),
    pub(super) y: (f64, f64),
}

type Point = (f64, f64);

/// The pieces of an open line that lie inside.
pub(super) fn line(points: &[Point], edge: Edge) -> Vec<Vec<Point>> {
    let mut pieces: Vec<Vec<Point>> = Vec::new();
    for pair in points.windows(2) {
        let Some((a, b)) = segment(pair[0], pair[1], edge) else {
            continue;
        };
        match pieces.last_mut() {
            Some(piece) if piece.last() == Some(&a) => piece.push(b),
            _ => pieces.push(vec![a, b]),
        }
    }
    pieces
}

/// The part of a segment inside (Liang and Barsky 1984, ACM Trans. Graph. 3(1):1-22).
fn segment(a: Point, b: Point, edge: Edge) -> Option<(Point, Point)> {
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let (mut from, mut to) = (0.0f64, 1.0f64);
    for (rate, room) in [
        (-dx, a.0 - edge.x.0),
        (dx, edge.x.1 - a.0),
        (-dy, a.1 - edge.y.0),
        (dy, edge.y.1 - a.1),
    ] {
        if rate < 0.0 {
            from = from.max(room / rate);
        } else if rate > 0.0 {
            to = to.min(room / rate);
        } else if room < 0.0 {
            return None;
        }
    }
    let at = |t: f64| (a.0 + t * dx, a.1 + t * dy);
    (from <= to).then(|| {
        (
            if from > 0.0 { at(from) } else { a },
            if to < 1.0 { at(to) } else { b },
        )
    })
}

/// The part of a closed area inside (Sutherland and Hodgman 1974, Commun. ACM 17(1):32-42).
pub(super) fn area(points: &[Point], edge: Edge) -> Vec<Point> {
    // Four half planes, each as a distance that is positive inside.
    let sides: [fn(Point, Edge) -> f64; 4] = [
        |p, e| p.0 - e.x.0,
        |p, e| e.x.1 - p.0,
        |p, e| p.1 - e.y.0,
        |p, e| e.y.1 - p.1,
    ];
    let mut kept = points.to_vec();
    for side in sides {
        let mut next = Vec::new();
        for (i, &b) in kept.iter().enumerate() {
            let a = kept[(i + kept.len() - 1) % kept.len()];
            let (da, db) = (side(a, edge), side(b, edge));
            if (da < 0.0) != (db < 0.0) {
                let t = da / (da - db);
                next.push((a.0 + t * (b.0 - a.0), a.1 + t * (b.1 - a.1)));
            }
            if db >= 0.0 {
                next.push(b);
            }
        }
        kept = next;
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    const UNIT: Edge = Edge {
        x: (0.0, 1.0),
        y: (0.0, 1.0),
    };

    #[test]
    fn lines_are_cut_where_they_leave() {
        let found = line(&[(-1.0, 0.5), (0.5, 0.5), (0.5, 2.0), (0.75, 1.0)], UNIT);
        assert_eq!(
            found,
            [
                vec![(0.0, 0.5), (0.5, 0.5), (0.5, 1.0)],
                vec![(0.75, 1.0), (0.75, 1.0)]
            ]
        );
        assert!(line(&[(2.0, 0.0), (3.0, 1.0)], UNIT).is_empty());
        assert!(line(&[(0.5, 0.5)], UNIT).is_empty());
    }

    #[test]
    fn areas_are_cut_to_the_frame() {
        let found = area(&[(-1.0, 0.25), (2.0, 0.25), (2.0, 9.0), (-1.0, 9.0)], UNIT);
        let span = |of: fn(&Point) -> f64| {
            let all: Vec<f64> = found.iter().map(of).collect();
            (
                all.iter().copied().fold(f64::INFINITY, f64::min),
                all.iter().copied().fold(f64::NEG_INFINITY, f64::max),
            )
        };
        assert_eq!(span(|p| p.0), (0.0, 1.0));
        assert_eq!(span(|p| p.1), (0.25, 1.0));
        assert!(area(&[(2.0, 2.0), (3.0, 2.0), (3.0, 3.0)], UNIT).is_empty());
    }
}
