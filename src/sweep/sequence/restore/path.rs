//! The way through separation and blur along which frames are most alike.

fn distance(a: (f64, f64), b: (f64, f64)) -> f64 {
    (a.0 - b.0).hypot(a.1 - b.1)
}

pub(super) fn length(places: &[(f64, f64)], path: &[usize]) -> f64 {
    path.windows(2)
        .map(|pair| distance(places[pair[0]], places[pair[1]]))
        .sum()
}

/// A short way through all places that begins at the widest blur: nearest neighbour first, then stretches are turned and
/// single places moved as long as that shortens it.
pub(super) fn shortest_path(places: &[(f64, f64)]) -> Vec<usize> {
    let n = places.len();
    let start = (0..n)
        .max_by(|&a, &b| places[a].1.total_cmp(&places[b].1))
        .unwrap_or(0);
    let mut left: Vec<usize> = (0..n).filter(|&i| i != start).collect();
    let mut path = vec![start];
    while !left.is_empty() {
        let here = places[path[path.len() - 1]];
        let next = (0..left.len())
            .min_by(|&a, &b| {
                distance(places[left[a]], here).total_cmp(&distance(places[left[b]], here))
            })
            .unwrap_or(0);
        path.push(left.remove(next));
    }
    // Each round shortens the way; far fewer are needed, the bound only keeps it finite.
    for _ in 0..50 {
        let before = length(places, &path);
        turn_stretches(places, &mut path);
        move_places(places, &mut path);
        if length(places, &path) > before - 1e-9 {
            break;
        }
    }
    path
}

fn turn_stretches(places: &[(f64, f64)], path: &mut [usize]) {
    let n = path.len();
    for i in 1..n {
        for j in i + 1..=n {
            let (a, b) = (places[path[i - 1]], places[path[i]]);
            let c = places[path[j - 1]];
            let (old, new) = match path.get(j) {
                Some(&d) => (
                    distance(a, b) + distance(c, places[d]),
                    distance(a, c) + distance(b, places[d]),
                ),
                None => (distance(a, b), distance(a, c)),
            };
            if new < old - 1e-12 {
                path[i..j].reverse();
            }
        }
    }
}

fn move_places(places: &[(f64, f64)], path: &mut Vec<usize>) {
    let n = path.len();
    for from in 1..n {
        let whole = length(places, path);
        let moved = path.remove(from);
        let rest = length(places, path);
        let mut best = (whole - 1e-12, from);
        for to in 1..n {
            let a = places[path[to - 1]];
            let here = places[moved];
            let added = match path.get(to) {
                Some(&b) => distance(a, here) + distance(here, places[b]) - distance(a, places[b]),
                None => distance(a, here),
            };
            if rest + added < best.0 {
                best = (rest + added, to);
            }
        }
        path.insert(best.1, moved);
    }
}
