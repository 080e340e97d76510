//! Focus pulls: what happens on the way, twins that hold what the page shows, distances as they were asked for, and limits
//! that were measured.

use axum::http::StatusCode;
use breathmark::sweep::{Code, Finding, Severity, ShiftCurve, SweepMeasurement};
use breathmark::units::Measured;

use super::site::{Site, curve, off, with_finding};

const SWING: &str = "/lenses/tindra-swing-25-t2-8";

async fn text(site: &Site, path: &str) -> String {
    let answer = site.get(path).await;
    assert_eq!(answer.status, StatusCode::OK, "{path}");
    answer.text().replace('\u{a0}', " ")
}

/// 0 at infinity, −0.30 % halfway in dioptres, +0.15 % at 0.4 m, in straight lines.
fn swinging() -> SweepMeasurement {
    let mut measurement = curve(25.0, 0.15, 0.4);
    let shift = |travel: f64| {
        let nearness = 1.0 - travel;
        let value = if nearness < 0.5 {
            -0.6 * nearness
        } else {
            -0.3 + 0.9 * (nearness - 0.5)
        };
        Measured::new(value, 0.004)
    };
    for frame in &mut measurement.frames {
        frame.shift_pct = Some(shift(frame.travel));
    }
    if let Some(summary) = &mut measurement.summary {
        let mut points = summary.curve.points().to_vec();
        for point in &mut points {
            point.shift_pct = shift(point.travel);
        }
        summary.worst = 12;
        summary.worst_shift_pct = Measured::new(-0.3, 0.004);
        summary.curve = ShiftCurve::new(points);
    }
    measurement
}

async fn site() -> Site {
    let site = Site::with_lenses().await;
    let swing = site.lens("Tindra", "Swing 25 T2.8", (25.0, 25.0)).await;
    site.publish(&swing, &off(), swinging()).await;
    site
}

/// The record of the first row of a CSV by column name.
fn first_row(csv: &str) -> std::collections::HashMap<String, String> {
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let names = reader.headers().expect("a header").clone();
    let row = reader.records().next().expect("a row").expect("readable");
    let pairs = names.iter().zip(row.iter());
    pairs.map(|(a, b)| (a.to_owned(), b.to_owned())).collect()
}

#[tokio::test]
async fn a_swing_on_the_way_is_told_before_the_end() {
    let site = site().await;
    let query = "from_m=inf&to_m=0.4&picture_width_px=4000";
    let compared =
        format!("lens=tindra-swing-25-t2-8&lens=ostrel-28-135-f-3-5&focal_mm=25&{query}");
    for path in [format!("{SWING}?{query}"), format!("/compare?{compared}")] {
        let page = text(&site, &path).await;
        assert!(
            page.contains("first 0.30 % wider, in the end +0.15 % ± 0.01"),
            "{page}"
        );
        // 2000 px × 0.003 and × 0.0015; the uncertainty is 2000 px × 2 × 0.004 √2 %.
        assert!(
            page.contains("first 6.0 px inwards, in the end 3.0 ± 0.2 px outwards"),
            "{page}"
        );
    }
    let alone = site.get(&format!("{SWING}.json?{query}")).await.json();
    let beside = site.get(&format!("/compare.json?{compared}")).await.json();
    let asked = site.get(&format!("/api/v1{SWING}/pull?{query}")).await;
    for pull in [
        &alone["pulls"][0],
        &beside["lenses"][0]["pull"],
        &asked.json()["pulls"][0],
    ] {
        let number = |name: &str| pull[name].as_f64().unwrap_or_else(|| panic!("{pull}"));
        // Raw numbers of straight lines.
        assert!((number("widest_on_the_way_pct") + 0.3).abs() < 1e-9);
        assert!((number("tightest_on_the_way_pct") - 0.15).abs() < 1e-9);
        assert!((number("scale_to_hide") - 1.0015 / 0.997).abs() < 1e-9);
    }
    // The other way round it begins at +0.15 %: at 0.997 ÷ 1.0015 it is widest, then it comes back to 1 ÷ 1.0015.
    let back = text(&site, &format!("{SWING}?from_m=0.4&to_m=inf")).await;
    assert!(
        back.contains("first 0.45 % wider, in the end −0.15 % ± 0.01"),
        "{back}"
    );
    // Part of it runs one way: nothing is first.
    let part = text(&site, &format!("{SWING}?from_m=0.7&to_m=0.4")).await;
    assert!(
        part.contains("Framing change") && !part.contains("in the end"),
        "{part}"
    );
}

#[tokio::test]
async fn what_is_told_as_no_change_has_no_direction() {
    let site = site().await;
    let page = text(
        &site,
        "/lenses/brackwell-pier-50-f-1-8?from_m=3&to_m=2.99&picture_width_px=4000",
    )
    .await;
    let row = page
        .split("data-label=\"Framing change\">")
        .nth(1)
        .expect("a pull");
    let row = row.split("</tr>").next().expect("its end");
    assert!(row.starts_with("0.00 %"), "{row}");
    assert!(row.contains("0.0 ± 0.2 px<"), "{row}");
    assert!(!row.contains("wards"), "{row}");
}

#[tokio::test]
async fn twins_hold_the_pull_that_the_page_shows() {
    let site = site().await;
    let query = "from_m=3&to_m=1&picture_width_px=4000";
    let zoom = "/lenses/ostrel-28-135-f-3-5";
    let json = site.get(&format!("{zoom}.json?{query}")).await.json();
    let pulls = json["pulls"].as_array().expect("pulls");
    assert_eq!(
        pulls.len(),
        json["results"].as_array().expect("results").len()
    );
    let both = "lens=ostrel-28-135-f-3-5&lens=tindra-sound-85-f-1-4&focal_mm=28";
    let compared = site
        .get(&format!("/compare.json?{both}&{query}"))
        .await
        .json();
    for (csv, pull) in [
        (format!("{zoom}.csv?{query}"), &pulls[0]),
        (
            format!("/compare.csv?{both}&{query}"),
            &compared["lenses"][0]["pull"],
        ),
    ] {
        let row = first_row(&site.get(&csv).await.text());
        for (column, field) in [
            ("pull_from_m", "from_m"),
            ("pull_to_m", "to_m"),
            ("framing_change_pct", "framing_change_pct"),
            ("framing_change_u_pct", "framing_change_u_pct"),
            ("widest_on_the_way_pct", "widest_on_the_way_pct"),
            ("tightest_on_the_way_pct", "tightest_on_the_way_pct"),
            ("picture_width_px", "picture_width_px"),
            ("edge_movement_px", "edge_movement_px"),
            ("edge_movement_u_px", "edge_movement_u_px"),
            ("scale_to_hide", "scale_to_hide"),
            ("crop_to_hide_pct", "crop_to_hide_pct"),
        ] {
            let told: f64 = row[column]
                .parse()
                .unwrap_or_else(|_| panic!("{column}: {row:?}"));
            // The same number, written twice.
            assert!(
                (told - pull[field].as_f64().expect(field)).abs() < 1e-12,
                "{column}"
            );
        }
    }
    let near = first_row(
        &site
            .get(&format!("{zoom}.csv?from_m=3&to_m=0.2"))
            .await
            .text(),
    );
    assert!(near["pull_outside"].contains("not measured closer than 0.45 m"));
    let plain = site.get(&format!("{zoom}.json")).await.json();
    assert!(plain.get("pulls").is_none(), "none was asked for");
    assert_eq!(
        first_row(&site.get(&format!("{zoom}.csv")).await.text())["pull_from_m"],
        ""
    );
}

/// 0.38 m are 14.96 in: at 1.2 ft nothing was measured, at 1.3 ft it was, and at the 1 ft 3 in that the page says.
#[tokio::test]
async fn a_printed_limit_was_measured_and_feet_come_back_as_they_were_typed() {
    let site = site().await;
    let lens = site.lens("Ostrel", "Near 24 f/2.8", (24.0, 24.0)).await;
    site.publish(&lens, &off(), curve(24.0, 1.0, 0.38)).await;
    let page = format!("/lenses/{}", lens.slug);
    let refused = text(&site, &format!("{page}?from_m=3&to_m=1.2+ft")).await;
    assert!(
        refused.contains("not measured closer than 0.38 m (1 ft 3 in)"),
        "{refused}"
    );
    assert!(refused.contains("from 3 m to 1.2 ft"));
    let answered = text(&site, &format!("{page}?from_m=9'10%22&to_m=1.3+ft")).await;
    assert!(!answered.contains("not measured closer"), "{answered}");
    assert!(answered.contains("from 9 ft 10 in to 1.3 ft"));
    let inches = text(&site, &format!("{page}?from_m=4'6%22&to_m=1'3%22")).await;
    assert!(inches.contains("from 4 ft 6 in to 1 ft 3 in"));
    assert!(!inches.contains("not measured closer"), "{inches}");
}

/// What a reader of a lens page is warned of stands on its counter-scale table too.
#[tokio::test]
async fn a_counter_scale_table_warns_as_the_lens_page_does() {
    let site = site().await;
    let lens = site.lens("Brackwell", "Slim 40 f/4", (40.0, 40.0)).await;
    let mut short = curve(40.0, 2.0, 0.5);
    for frame in &mut short.frames {
        if let Some(at) = &mut frame.focus_dioptres {
            at.value = 1.0 / 3.0 + at.value * (5.0 / 6.0);
        }
    }
    if let Some(summary) = &mut short.summary {
        let mut points = summary.curve.points().to_vec();
        for point in &mut points {
            if let Some(at) = &mut point.dioptres {
                at.value = 1.0 / 3.0 + at.value * (5.0 / 6.0);
            }
        }
        summary.relative_to_farthest = true;
        summary.curve = ShiftCurve::new(points);
    }
    let finding = Finding {
        code: Code::ReferenceNotAtInfinity,
        severity: Severity::Warning,
        message: "The last frame was focused at 3 m.".to_owned(),
        files: vec!["SWP_0025.JPG".to_owned()],
    };
    site.publish(&lens, &off(), with_finding(short, finding))
        .await;
    let base = format!("/lenses/{}/counter-scale", lens.slug);
    let page = text(&site, &base).await;
    for words in [
        "reference_not_at_infinity",
        "The last frame was focused at 3 m.",
        "tag-warning\">1 warning",
        "Not relative to infinity",
        "not measured closer than 0.5 m (1 ft 7.7 in), not measured farther than 3 m (9 ft 10 in)",
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
    let table = site.get(&format!("{base}.json")).await.json()["tables"][0].clone();
    assert_eq!(table["findings"][0]["code"], "reference_not_at_infinity");
    let farthest = table["farthest_focus_m"].as_f64().expect("an end");
    // Thirds of a dioptre and back.
    assert!((farthest - 3.0).abs() < 1e-6, "{farthest}");
    let row = first_row(&site.get(&format!("{base}.csv")).await.text());
    assert_eq!(row["finding_codes"], "reference_not_at_infinity");
    let clean = text(&site, "/lenses/tindra-sound-85-f-1-4/counter-scale").await;
    assert!(
        !clean.contains("not measured farther") && !clean.contains("tag-warning"),
        "{clean}"
    );
}

#[tokio::test]
async fn rows_in_feet_and_inches_have_exact_names_and_numbers() {
    let site = site().await;
    let base = "/lenses/ostrel-28-135-f-3-5/counter-scale";
    for (query, inches) in [
        ("step_m=6+in&far_m=14+ft", 6_u32),
        ("step_m=3+in", 3),
        ("step_m=1+ft", 12),
    ] {
        let page = text(&site, &format!("{base}?{query}")).await;
        let labels: Vec<&str> = page
            .split("<th scope=\"row\">")
            .skip(1)
            .filter_map(|rest| rest.split("</th>").next())
            .collect();
        let mut names: Vec<&str> = labels.iter().filter_map(|l| l.split(" (").next()).collect();
        let rows = names.len();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), rows, "{query}: {labels:?}");
        let wanted = if inches == 12 {
            "10 ft (3.05 m)"
        } else {
            "10 ft 6 in (3.2 m)"
        };
        assert!(labels.contains(&wanted), "{query}: {labels:?}");
        let csv = site
            .get(&format!("{base}.csv?{query}&focal_mm=28"))
            .await
            .text();
        let mut reader = csv::Reader::from_reader(csv.as_bytes());
        // Behind the closest frame and before infinity every row is a step.
        let feet: Vec<String> = reader
            .records()
            .map(|r| r.expect("a row")[7].to_owned())
            .collect();
        for feet in &feet[1..feet.len() - 1] {
            assert!(feet.len() <= 12, "{query}: {feet}");
            let steps = feet.parse::<f64>().expect("feet") * 12.0 / f64::from(inches);
            // Nine decimals of a foot.
            assert!((steps - steps.round()).abs() < 1e-7, "{query}: {feet}");
        }
    }
}
