//! The ranking as readers ask it: ways, ties, words, and what helps where nothing fits.

use axum::http::StatusCode;

use super::site::{Site, curve, off, without_distances};

/// The slugs of an answer, in order.
async fn slugs(site: &Site, query: &str) -> Vec<String> {
    let answer = site.get(&format!("/api/v1/lenses?{query}")).await;
    assert_eq!(answer.status, StatusCode::OK, "{query}: {}", answer.text());
    let rows = answer.json()["lenses"].as_array().expect("rows").clone();
    let slug = |row: &serde_json::Value| row["lens"]["slug"].as_str().expect("a slug").to_owned();
    rows.iter().map(slug).collect()
}

#[tokio::test]
async fn only_the_lenses_that_go_the_way_asked_for() {
    let site = Site::with_lenses().await;
    let still = site.lens("Brackwell", "Still 40 f/2", (40.0, 40.0)).await;
    site.publish(&still, &off(), curve(40.0, 0.005, 0.4)).await;
    for (way, expected) in [
        // The zoom goes wider at its short end, but tighter where it is worst.
        (
            "tighter",
            &["brackwell-pier-50-f-1-8", "ostrel-28-135-f-3-5"][..],
        ),
        ("wider", &["tindra-sound-85-f-1-4"]),
        ("none", &["brackwell-still-40-f-2"]),
    ] {
        assert_eq!(
            slugs(&site, &format!("direction={way}")).await,
            expected,
            "{way}"
        );
        let page = site.get(&format!("/lenses?direction={way}")).await.text();
        assert!(page.contains("Take away"), "{way} has a chip");
        assert!(
            page.contains(&format!("<option value=\"{way}\" selected>")),
            "{way}"
        );
        for other in [
            "brackwell-pier",
            "ostrel-28",
            "tindra-sound",
            "brackwell-still",
        ] {
            let listed = page.contains(&format!("href=\"/lenses/{other}"));
            let wanted = expected.iter().any(|slug| slug.starts_with(other));
            assert_eq!(listed, wanted, "{other} under {way}");
        }
    }
    let absurd = site.get("/lenses?direction=sideways").await;
    assert_eq!(absurd.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(absurd.text().contains("direction"));
}

/// Lenses that never exceed the tolerance have no distance to be told apart by.
#[tokio::test]
async fn never_exceeded_is_in_the_order_of_shift_then_name() {
    let site = Site::new().await;
    for (model, worst) in [
        ("Fell 20", 1.2),
        ("Beck 30", -0.4),
        ("Alder 40", 1.2),
        ("Crag 50", 0.2),
    ] {
        let lens = site.lens("Ostrel", model, (50.0, 50.0)).await;
        site.publish(&lens, &off(), curve(50.0, worst, 0.5)).await;
    }
    let loud = site.lens("Ostrel", "Dale 60", (50.0, 50.0)).await;
    site.publish(&loud, &off(), curve(50.0, 3.0, 0.5)).await;
    let lost = site.lens("Ostrel", "Ebb 70", (50.0, 50.0)).await;
    site.publish(&lost, &off(), without_distances(curve(50.0, 3.0, 0.5)))
        .await;
    site.lens("Ostrel", "Gill 80", (50.0, 50.0)).await;
    let never = [
        "ostrel-crag-50",
        "ostrel-beck-30",
        "ostrel-alder-40",
        "ostrel-fell-20",
    ];
    let order: Vec<&str> = never
        .into_iter()
        .chain(["ostrel-dale-60", "ostrel-ebb-70", "ostrel-gill-80"])
        .collect();
    for tolerance in ["2", "1.5"] {
        let query = format!("sort=tolerance_distance&tolerance_pct={tolerance}");
        assert_eq!(slugs(&site, &query).await, order, "{tolerance} %");
        // One by one, through cursors, the order is the same.
        let mut paged = Vec::new();
        let mut cursor = String::new();
        while paged.len() < order.len() {
            let path = format!("/api/v1/lenses?{query}&limit=1{cursor}");
            let page = site.get(&path).await.json();
            paged.push(
                page["lenses"][0]["lens"]["slug"]
                    .as_str()
                    .expect("a slug")
                    .to_owned(),
            );
            match page["next"].as_str() {
                Some(next) => cursor = format!("&cursor={next}"),
                None => break,
            }
        }
        assert_eq!(paged, order, "{tolerance} %, one by one");
    }
    let turned = slugs(&site, "sort=tolerance_distance&order=desc").await;
    assert_eq!(turned[0], "ostrel-dale-60");
    assert_eq!(
        turned[5..],
        order[5..],
        "unknown and not measured stay last"
    );
}

#[tokio::test]
async fn words_are_understood_as_people_mean_them() {
    let site = Site::with_lenses().await;
    let pier = &["brackwell-pier-50-f-1-8"][..];
    let zoom = &["ostrel-28-135-f-3-5"][..];
    for (words, found) in [
        ("50 1.8", pier),
        ("50mm f/1.8", pier),
        ("pie", pier),
        ("28-135", zoom),
        ("28–135mm f/3.5", zoom),
        ("28 - 135", zoom),
        ("OSTREL 135", zoom),
        ("skerry-bayonet pier", pier),
        ("180", &[]),
        // A range that no lens has, though it has one end of it.
        ("28-70", &[]),
    ] {
        let encoded: String = words.bytes().map(|byte| format!("%{byte:02X}")).collect();
        assert_eq!(
            slugs(&site, &format!("q={encoded}")).await,
            found,
            "{words}"
        );
    }
    let mount = slugs(&site, "q=skerry").await;
    assert_eq!(mount.len(), 4, "all have this mount");
}

#[tokio::test]
async fn every_row_has_its_verdict() {
    let site = Site::with_lenses().await;
    let page = site.get("/lenses?tolerance_pct=1").await.text();
    let page = page.replace('\u{a0}', " ");
    for verdict in [
        "Tighter; within 1 % everywhere it was measured",
        "Wider and tighter; within 1 % beyond 1.94 m (6 ft 4.5 in)",
        "Wider; within 1 % beyond 4.16 m (13 ft 8 in)",
    ] {
        assert!(page.contains(verdict), "{verdict}");
    }
    let document = site.get("/lenses.json").await.json();
    assert_eq!(
        document["lenses"][0]["verdict"],
        "Tighter; within 2 % everywhere it was measured"
    );
    assert!(document["lenses"][3]["verdict"].is_null(), "not measured");
}

#[tokio::test]
async fn where_nothing_fits_the_page_says_what_would() {
    let site = Site::with_lenses().await;
    let told = |path: &'static str| {
        let site = &site;
        async move { site.get(path).await.text().replace('\u{a0}', " ") }
    };
    let slip = told("/lenses?q=osterl+28").await;
    assert!(slip.contains("“osterl” is in no name"), "{slip}");
    assert!(
        slip.contains("href=\"/lenses?q=ostrel%2028\">ostrel 28</a>”? 1 lens fits."),
        "{slip}"
    );
    let number = told("/lenses?q=ostrel+177").await;
    assert!(
        number.contains("href=\"/lenses?q=ostrel\">ostrel</a>”? 1 lens fits."),
        "{number}"
    );
    let narrow = told("/lenses?q=pier&kind=zoom&direction=tighter").await;
    assert!(
        narrow.contains("without <a href=\"/lenses?q=pier&#38;direction=tighter\">zoom</a>: 1"),
        "{narrow}"
    );
    assert!(
        narrow.contains(">“pier”</a>: 1"),
        "the zoom is tighter: {narrow}"
    );
    assert!(
        !narrow.contains(">gets tighter</a>:"),
        "no zoom is called pier"
    );
    // What the advice leads to is there.
    let mended = site.get("/lenses?q=ostrel%2028").await.text();
    assert!(mended.contains(": 1 lens ranked."));
    let run_together = told("/lenses?q=28135+f3.5").await;
    assert!(run_together.contains(": 1 lens ranked."), "{run_together}");
    // What was typed is not what is advised.
    let near = told("/lenses?q=28-105").await;
    assert!(near.contains(">28-135</a>”? 1 lens fits."), "{near}");
    assert!(
        !near.contains("“28-105”.") && near.contains("“28-135”."),
        "{near}"
    );
    let hopeless = told("/lenses?q=zzzz").await;
    assert!(hopeless.contains("No lens fits") && !hopeless.contains("Perhaps you mean"));
}

/// A sweep that ends at 3 m says nothing of infinity, and no number of it stands alone.
#[tokio::test]
async fn what_is_not_against_infinity_is_said_wherever_its_numbers_stand() {
    let site = Site::new().await;
    let short = site.lens("Ostrel", "Short", (40.0, 40.0)).await;
    let mut sweep = curve(40.0, 4.4, 0.35);
    let summary = sweep.summary.as_mut().expect("it was measured");
    summary.relative_to_farthest = true;
    site.publish(&short, &off(), sweep).await;
    let whole = site.lens("Ostrel", "Whole", (40.0, 40.0)).await;
    site.publish(&whole, &off(), curve(40.0, 1.0, 0.35)).await;
    let note = "against the farthest frame, not infinity: may be larger";
    let sentence = "The farthest frame is not at infinity: the true figures may be larger.";
    for (path, words) in [
        ("/", &[note][..]),
        (
            "/lenses",
            &["; against the farthest frame, not infinity: the true figures may be larger"],
        ),
        (
            "/lenses/ostrel-short",
            &[
                note,
                sentence,
                "tighter than in the farthest frame, below zero wider",
                "in the farthest frame → at its worst",
            ],
        ),
        (
            "/compare?lens=ostrel-short&lens=ostrel-whole",
            &["its farthest frame, not infinity: the true figures may be larger"],
        ),
        ("/embed/lens/ostrel-short", &[sentence]),
    ] {
        let page = site.get(path).await.text().replace('\u{a0}', " ");
        for words in words {
            assert!(page.contains(words), "{path}: {words}");
        }
    }
    let ranking = site.get("/lenses").await.text();
    assert_eq!(ranking.matches("farthest frame").count(), 1, "once a row");
    let plain = site.get("/lenses/ostrel-whole").await.text();
    assert!(!plain.contains("farthest frame"), "it ends at infinity");

    let document = site.get("/lenses.json?sort=name").await.json();
    for (row, wanted) in ["farthest_frame", "infinity"].into_iter().enumerate() {
        let row = &document["lenses"][row];
        assert_eq!(row["relative_to"], wanted);
        assert_eq!(row["results"][0]["relative_to"], wanted);
    }
    // It keeps its place by what was measured, but nobody knows whether it holds against infinity.
    let slugs = async |query: &str| -> Vec<String> {
        let document = site.get(&format!("/lenses.json?{query}")).await.json();
        let rows = document["lenses"].as_array().expect("rows").iter();
        rows.map(|row| row["lens"]["slug"].as_str().expect("a slug").to_owned())
            .collect()
    };
    assert_eq!(slugs("").await, ["ostrel-whole", "ostrel-short"]);
    assert_eq!(slugs("holds_from_m=5").await, ["ostrel-whole"]);
    assert_eq!(
        slugs("holds_from_m=5&tolerance_pct=20").await,
        ["ostrel-whole"]
    );
    let filtered = site.get("/lenses?holds_from_m=5").await.text();
    assert!(
        filtered.contains("they were measured against their farthest frame, not infinity"),
        "{filtered}"
    );
    assert!(!ranking.contains("are left out"), "nothing is");
    let rows = site.get("/lenses.csv?sort=name").await.text();
    let column = |name: &str| -> Vec<&str> {
        let mut lines = rows.lines().map(|line| line.split(',').collect::<Vec<_>>());
        let header = lines.next().expect("a header");
        let at = header.iter().position(|found| *found == name).expect(name);
        lines.map(|fields| fields[at]).collect()
    };
    assert_eq!(column("relative_to"), ["farthest_frame", "infinity"]);
    assert_eq!(column("warnings"), ["0", "0"]);
}

#[tokio::test]
async fn the_count_tells_what_is_ranked_from_what_is_not_measured() {
    let site = Site::with_lenses().await;
    let told = async |path: &str| site.get(path).await.text().replace('\u{a0}', " ");
    let conditions = "distortion correction off, breathing compensation off";
    let all = told("/lenses").await;
    let words = format!("Measured with {conditions}: 3 lenses ranked, 1 not measured yet.");
    assert!(all.contains(&words), "{all}");
    assert!(
        told("/")
            .await
            .contains("3 lenses ranked, 1 not measured yet")
    );
    assert!(told("/lenses?q=pier").await.contains(": 1 lens ranked."));
    assert!(
        told("/lenses?q=reef")
            .await
            .contains(": 1 lens not measured yet.")
    );
    assert!(
        told("/lenses?limit=2")
            .await
            .contains("3 lenses ranked, 1 not measured yet; 1 to 2 of 4 shown.")
    );
    let mut on = off();
    on.breathing_compensation = breathmark::store::Switch::On;
    let other = site.lens("Ostrel", "Other 40", (40.0, 40.0)).await;
    site.publish(&other, &on, curve(40.0, 0.4, 0.35)).await;
    let apart = told("/lenses").await;
    assert!(
        apart.contains(
            "3 lenses ranked, 1 not measured under these conditions, 1 not measured yet."
        ),
        "{apart}"
    );
    // Each row says which of the two it is.
    let row = |name: &str| {
        let row = apart.split("<tr>").find(|row| row.contains(name));
        row.expect(name).to_owned()
    };
    assert!(
        row("Other 40")
            .contains(">not measured so, but with <a href=\"/lenses/ostrel-other-40?conditions=correction-off.compensation-on\">"),
        "{}",
        row("Other 40")
    );
    assert!(row("Reef 35").contains(">not measured yet<"));
    let near = told("/lenses?focal_mm=40").await;
    assert!(near.contains("1 not measured so"), "{near}");
    let twin = site.get("/lenses.json").await.json();
    assert_eq!((&twin["total"], &twin["ranked"]), (&5.into(), &3.into()));
    assert_eq!(twin["unpublished"], 1);
}

/// What stands beside a number in the ranking stands beside it on the start and on the way there.
#[tokio::test]
async fn warnings_are_on_the_start_and_the_mount_leads_to_the_ranking() {
    let site = Site::with_lenses().await;
    let lens = site.lens("Ostrel", "Bumped 40 f/2", (40.0, 40.0)).await;
    let finding = breathmark::sweep::Finding {
        code: breathmark::sweep::Code::CameraMoved,
        severity: breathmark::sweep::Severity::Warning,
        message: "the mid-point jumps by 3 px".to_owned(),
        files: Vec::new(),
    };
    let bumped = super::site::with_finding(curve(40.0, 0.2, 0.35), finding);
    site.publish(&lens, &off(), bumped).await;
    let start = site.get("/").await.text();
    // Best of all, and the newest.
    assert_eq!(start.matches(">1 warning</span>").count(), 2, "{start}");
    let page = site.get(&format!("/lenses/{}", lens.slug)).await.text();
    let way = "<a href=\"/lenses?mount=Skerry%20bayonet\">";
    assert_eq!(page.matches(way).count(), 2, "{page}");
    let same = site.get("/lenses?mount=Skerry%20bayonet").await.text();
    assert!(same.contains("Ostrel Bumped 40 f/2"), "{same}");
}
