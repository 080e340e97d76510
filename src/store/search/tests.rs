//! What people type finds what they mean.

use super::*;
use crate::store::Kind;

fn zoom() -> LensDraft {
    LensDraft {
        maker: "Ostrel".to_owned(),
        model: "Deep 24–105mm f/4 (II)".to_owned(),
        mount: "Skerry bayonet".to_owned(),
        kind: Kind::Zoom,
        focal_min_mm: 24.0,
        focal_max_mm: 105.0,
        max_aperture: 4.0,
        closest_focus_m: Some(0.45),
    }
}

fn finds(lens: &LensDraft, question: &str) -> bool {
    let text = search_text(lens);
    let words: Vec<String> = question.split(' ').map(str::to_owned).collect();
    patterns(&words).iter().all(|pattern| {
        let slug = slug(&format!("{} {}", lens.maker, lens.model));
        pattern.fits(&slug, &text, (lens.focal_min_mm, lens.focal_max_mm))
    })
}

#[test]
fn a_zoom_is_found_by_what_people_type() {
    for question in [
        "24-105",
        "24–105",
        "24-105mm",
        "24",
        "105 mm",
        "105mm",
        "ostrel",
        "Ostr",
        "strel f/4",
        "deep 4",
        "F4",
        "4.0",
        "skerry",
        "zoom ii",
        "24-105 f4",
        // Within its range.
        "60",
        "ostrel 50",
        "85mm 4",
        // With what parts the two left out.
        "24105",
        "24105mm f4",
        // Without what parts the words, and as it stands in addresses.
        "ostrel24",
        "ostrel24-105",
        "105-4",
        "24-4.0",
        "ostrel-deep-24-105mm-f-4-ii",
        "ostrel-deep-24-105-mm-f-4",
        "",
    ] {
        assert!(finds(&zoom(), question), "{question}");
    }
    for question in [
        "10",
        "5",
        "ostrel 150",
        "24-70",
        "105-24",
        "macro",
        "1.4",
        "60 2.8",
        "2410",
        "4105",
        "241050",
        "10524",
        "2470",
        "ostrel150",
        "105-2.8",
        "ostrel-deep-24-105mm-f-2-8",
        "ostrel-deep-24-70-f-4",
    ] {
        assert!(!finds(&zoom(), question), "{question}");
    }
}

/// Marks on letters are no hindrance, typed or left out, on either side.
#[test]
fn letters_are_found_with_their_marks_and_without() {
    let named = |maker: &str| LensDraft {
        maker: maker.to_owned(),
        ..zoom()
    };
    for (maker, questions) in [
        (
            "Øster & Søn",
            &["oster", "øster", "ØSTER", "son", "søn 24-105", "Öster"][..],
        ),
        ("Łódź", &["lodz", "łódź", "LODZ"]),
        ("Æther", &["aether", "æth"]),
        ("Größe", &["grosse", "größe", "GRÖSSE"]),
        ("Ostrel", &["østrel", "öst"]),
        // A mark that stands after its letter.
        ("E\u{301}tal", &["etal", "étal"]),
    ] {
        for question in questions {
            assert!(finds(&named(maker), question), "{question} in {maker}");
        }
    }
    assert!(!finds(&named("Øster"), "uster"));
}

#[test]
fn a_number_is_a_whole_number() {
    let prime = LensDraft {
        model: "Keel 150 f/1.8".to_owned(),
        focal_min_mm: 150.0,
        focal_max_mm: 150.0,
        max_aperture: 1.8,
        kind: Kind::Prime,
        ..zoom()
    };
    assert!(finds(&prime, "150 1.8"));
    assert!(!finds(&prime, "50 1.8"));
}

#[test]
fn a_run_of_figures_is_a_range_only_where_it_can_be_one() {
    for (figures, ranges) in [
        ("70200", vec![" 70-200 "]),
        ("816", vec![" 8-16 "]),
        ("100400", vec![" 100-400 "]),
        ("50", vec![]),
        ("150", vec![]),
        ("105", vec![]),
        ("1.8", vec![]),
        ("24-105", vec![]),
    ] {
        let found = run_together(figures);

        assert_eq!(found, ranges, "{figures}");
    }
    // A lens of 50 to 150 mm is not every 50 and 150, nor found by parts of its figures.
    let wide = LensDraft {
        model: "Keel 50-150 f/2.8".to_owned(),
        focal_min_mm: 50.0,
        focal_max_mm: 150.0,
        max_aperture: 2.8,
        ..zoom()
    };
    assert!(finds(&wide, "50150") && finds(&wide, "50150 2.8"));
    assert!(!finds(&wide, "5015") && !finds(&wide, "15050") && !finds(&wide, "50150 4"));
}

#[test]
fn words_run_together_are_parted() {
    for (word, parts) in [
        ("ostrel-35-mm-f-1-4", vec!["ostrel", "35", "1.4"]),
        (
            "tindra-cine-85-mm-t1-5",
            vec!["tindra", "cine", "85", "1.5"],
        ),
        (
            "oster-son-85-mm-f-1-2-l",
            vec!["oster", "son", "85", "1.2", "l"],
        ),
        ("keel-50-f-2", vec!["keel", "50", "2"]),
        ("keel-24-70-mm-f-2-8", vec!["keel", "24-70", "2.8"]),
        ("keel-8-15mm-f4", vec!["keel", "8-15", "f4"]),
        ("ostrel24", vec!["ostrel", "24"]),
        ("50-1.8", vec!["50", "1.8"]),
        ("24-105", vec![]),
        ("105-24", vec![]),
        ("f4", vec![]),
        ("harrow-lock", vec![]),
        ("--", vec![]),
        ("", vec![]),
    ] {
        assert_eq!(words_run_together(word), parts, "{word}");
    }
}

#[test]
fn names_sort_as_people_count() {
    let mut keys = [
        sort_name("Tindra", "100 f/2"),
        sort_name("tindra", "24-70"),
        sort_name("Tindra", "24"),
        sort_name("Brackwell", "300"),
    ];
    keys.sort();
    assert_eq!(
        keys.map(|key| key.replace("0000", "").replace("000", "")),
        [
            "brackwell 300",
            "tindra 24",
            "tindra 24-70",
            "tindra 100 f/02"
        ]
    );
}

#[test]
fn slugs_are_plain() {
    assert_eq!(slug("Ostrel Deep 24–105mm f/4"), "ostrel-deep-24-105mm-f-4");
    assert_eq!(slug("Tïndra  Ö. "), "tindra-o");
    assert_eq!(slug("Łódź Æther & Größe"), "lodz-aether-grosse");
    assert_eq!(slug("漢字"), "lens");
    assert!(slug(&"x".repeat(5000)).len() <= 81);
}
