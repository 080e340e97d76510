//! How pages are found and shown elsewhere: frames, oEmbed, feed, sitemap, and what the heads of pages say.

use axum::http::{StatusCode, header};

use super::site::{NOW, Site, curve, off};

const ZOOM: &str = "/lenses/ostrel-28-135-f-3-5";
const SITE: &str = "https://lens.example";

fn document(text: &str) -> roxmltree::Document<'_> {
    roxmltree::Document::parse(text).unwrap_or_else(|error| panic!("{error}: {text}"))
}

/// The text of the first element of this name below a node.
fn text_of<'a>(node: roxmltree::Node<'a, '_>, name: &str) -> &'a str {
    node.children()
        .find(|child| child.has_tag_name(("http://www.w3.org/2005/Atom", name)))
        .and_then(|child| child.text())
        .unwrap_or_else(|| panic!("no {name}"))
}

fn entries<'a, 'i>(feed: &'a roxmltree::Document<'i>) -> Vec<roxmltree::Node<'a, 'i>> {
    feed.root_element()
        .children()
        .filter(|node| node.tag_name().name() == "entry")
        .collect()
}

#[tokio::test]
async fn only_the_embed_page_may_be_framed() {
    let site = Site::with_lenses().await;
    let embed = site.get("/embed/lens/ostrel-28-135-f-3-5").await;
    assert_eq!(embed.status, StatusCode::OK, "{}", embed.text());
    let policy = embed.header(header::CONTENT_SECURITY_POLICY);
    assert!(policy.ends_with("frame-ancestors *"), "{policy}");
    assert!(policy.starts_with("default-src 'none'; script-src 'self'"));
    assert_eq!(embed.header(header::X_FRAME_OPTIONS), "");
    let text = embed.text();
    assert!(
        text.contains("<svg") && text.contains("at most by 4.30"),
        "{text}"
    );
    assert!(text.contains("CC BY 4.0"));
    assert!(
        text.contains(&format!("href=\"{SITE}{ZOOM}\"")),
        "links from the public address"
    );
    for path in ["/", "/lenses", ZOOM, "/compare", "/desk", "/lenses.json"] {
        let answer = site.get(path).await;
        let policy = answer.header(header::CONTENT_SECURITY_POLICY);
        assert!(
            policy.ends_with("frame-ancestors 'none'"),
            "{path}: {policy}"
        );
        assert_eq!(answer.header(header::X_FRAME_OPTIONS), "DENY", "{path}");
    }
    let asked = site
        .get("/embed/lens/ostrel-28-135-f-3-5?focal_mm=50&tolerance_pct=0.5")
        .await
        .text();
    assert!(asked.contains(">50 mm</text>") && !asked.contains(">135 mm</text>"));
    assert!(
        asked.contains("beyond 0.63\u{a0}m"),
        "0.45 m · 0.7 / 0.5: {asked}"
    );
    let unmeasured = site.get("/embed/lens/tindra-reef-35-f-2").await;
    assert_eq!(unmeasured.status, StatusCode::OK);
    assert!(unmeasured.text().contains("Not measured yet"));
}

#[tokio::test]
async fn oembed_answers_for_lens_pages_within_the_sides_asked_for() {
    let site = Site::with_lenses().await;
    let ask = |more: &str| format!("/oembed?url={SITE}{ZOOM}{more}");
    let answer = site.get(&ask("")).await;
    assert_eq!(answer.status, StatusCode::OK, "{}", answer.text());
    assert_eq!(answer.header(header::CONTENT_TYPE), "application/json");
    assert_eq!(answer.header(header::ACCESS_CONTROL_ALLOW_ORIGIN), "*");
    let rich = answer.json();
    assert_eq!(rich["type"], "rich");
    assert_eq!(rich["version"], "1.0");
    assert_eq!(rich["provider_url"], SITE);
    let html = rich["html"].as_str().expect("an element");
    assert!(
        html.starts_with(&format!(
            "<iframe src=\"{SITE}/embed/lens/ostrel-28-135-f-3-5\""
        )),
        "{html}"
    );
    // What it promises is there.
    let picture = rich["thumbnail_url"].as_str().expect("a picture");
    let picture = site.get(picture.strip_prefix(SITE).expect("ours")).await;
    let drawn = image::load_from_memory(&picture.body).expect("a PNG");
    assert_eq!(
        u64::from(drawn.width()),
        rich["thumbnail_width"].as_u64().expect("px")
    );
    for (width, height) in [(320, 240), (100, 90), (5000, 10)] {
        let small = site
            .get(&ask(&format!("&maxwidth={width}&maxheight={height}")))
            .await
            .json();
        for (side, most) in [
            ("width", width),
            ("height", height),
            ("thumbnail_width", width),
            ("thumbnail_height", height),
        ] {
            let is = small[side].as_u64().unwrap_or(0);
            assert!(is <= most, "{side} is {is} of {most}");
        }
        let html = small["html"].as_str().expect("an element");
        assert!(
            html.contains(&format!("width=\"{}\"", small["width"])),
            "{html}"
        );
    }
    let kept = site
        .get(&ask("%3Ftolerance_pct%3D1%26evil%3D%2522"))
        .await
        .json();
    let html = kept["html"].as_str().expect("an element");
    assert!(html.contains("3-5?tolerance_pct=1\""), "{html}");
}

#[tokio::test]
async fn oembed_refuses_as_its_standard_says() {
    let site = Site::with_lenses().await;
    for (query, status) in [
        (
            format!("url={SITE}{ZOOM}&format=xml"),
            StatusCode::NOT_IMPLEMENTED,
        ),
        (format!("url={SITE}/lenses/nobody"), StatusCode::NOT_FOUND),
        (format!("url={SITE}/method"), StatusCode::NOT_FOUND),
        (
            format!("url=https://other.example{ZOOM}"),
            StatusCode::NOT_FOUND,
        ),
        (String::new(), StatusCode::UNPROCESSABLE_ENTITY),
        (
            format!("url={SITE}{ZOOM}&maxwidth=wide"),
            StatusCode::UNPROCESSABLE_ENTITY,
        ),
    ] {
        let answer = site.ask(&format!("/oembed?{query}"), &[]).await;
        assert_eq!(answer.status, status, "{query}: {}", answer.text());
        assert_eq!(
            answer.header(header::CONTENT_TYPE),
            "application/problem+json",
            "{query}"
        );
    }
}

#[tokio::test]
async fn the_feed_tells_versions_and_withdrawals_under_lasting_ids() {
    let site = Site::new().await;
    let empty = site.get("/feed.atom").await.text();
    assert!(entries(&document(&empty)).is_empty());
    let lens = site
        .lens("Tindra <&>", "Sound 85 f/1.4", (85.0, 85.0))
        .await;
    let first = site.publish(&lens, &off(), curve(85.0, 3.0, 0.8)).await;
    site.publish(&lens, &off(), curve(85.0, 3.1, 0.8)).await;
    let before = site.get("/feed.atom").await;
    assert_eq!(
        before.header(header::CONTENT_TYPE),
        "application/atom+xml; charset=utf-8"
    );
    let before = before.text();
    site.withdraw(first, "the tripod was bumped", NOW + 60_000)
        .await;
    let after = site.get("/feed.atom").await.text();
    let (before, after) = (document(&before), document(&after));
    assert_eq!(
        text_of(after.root_element(), "updated"),
        "2026-03-31T23:34:20Z"
    );
    let ids = |feed| -> Vec<String> {
        entries(feed)
            .into_iter()
            .map(|entry| text_of(entry, "id").to_owned())
            .collect()
    };
    let (old, new) = (ids(&before), ids(&after));
    assert_eq!((old.len(), new.len()), (2, 3));
    assert!(old.iter().all(|id| new.contains(id)), "{old:?} {new:?}");
    assert!(
        new.iter()
            .all(|id| id.starts_with("tag:lens.example,2026:")),
        "{new:?}"
    );
    let mut unique = new.clone();
    unique.sort();
    unique.dedup();
    assert_eq!(unique.len(), new.len());
    let said: Vec<(&str, &str)> = entries(&after)
        .into_iter()
        .map(|entry| (text_of(entry, "title"), text_of(entry, "summary")))
        .collect();
    assert!(
        said.iter().any(|(title, summary)| title.ends_with(
            "at 85 mm with distortion correction off, breathing compensation off: withdrawn"
        ) && summary.contains("the tripod was bumped")),
        "{said:?}"
    );
    assert!(
        said.iter()
            .any(|(_, summary)| summary.contains("tighter by 3.10 %")),
        "{said:?}"
    );
    assert!(
        !said.iter().any(|(_, summary)| summary.contains("3.00 %")),
        "{said:?}"
    );
    // What RFC 4287 asks of every entry, beside id, title and updated.
    for entry in entries(&after) {
        assert!(text_of(entry, "title").starts_with("Tindra <&> Sound"));
        assert!(text_of(entry, "updated").ends_with('Z'));
        let author = entry
            .children()
            .find(|node| node.tag_name().name() == "author");
        assert_eq!(text_of(author.expect("an author"), "name"), "Ines");
        let link = entry
            .children()
            .find(|node| node.tag_name().name() == "link");
        let link = link.expect("a link").attribute("href").expect("an address");
        assert!(link.starts_with(&format!("{SITE}/lenses/tindra")), "{link}");
    }
}

#[tokio::test]
async fn the_sitemap_lists_what_is_there_and_robots_lead_to_it() {
    let site = Site::with_lenses().await;
    let text = site.get("/sitemap.xml").await.text();
    let map = document(&text);
    let addresses: Vec<&str> = map
        .descendants()
        .filter(|node| node.tag_name().name() == "loc")
        .filter_map(|node| node.text())
        .collect();
    assert!(addresses.contains(&"https://lens.example/lenses/ostrel-28-135-f-3-5"));
    assert!(!text.contains("tindra-reef"), "nothing is published of it");
    for address in addresses {
        let path = address.strip_prefix(SITE).expect("from the public address");
        assert_eq!(site.get(path).await.status, StatusCode::OK, "{address}");
    }
    let robots = site.get("/robots.txt").await;
    assert!(
        robots
            .header(header::CONTENT_TYPE)
            .starts_with("text/plain")
    );
    assert!(
        robots
            .text()
            .contains("Sitemap: https://lens.example/sitemap.xml")
    );
    assert!(robots.text().contains("Disallow: /desk"));
}

#[tokio::test]
async fn heads_of_pages_name_address_picture_feed_and_frame() {
    let site = Site::with_lenses().await;
    for (path, canonical) in [
        ("/", "/"),
        // A list is known by what is in it, whatever its order and whatever else is asked.
        ("/lenses?sort=name&tolerance_pct=2&campaign=x", "/lenses"),
        ("/lenses?sort=name&q=50", "/lenses?q=50"),
        (
            "/lenses?kind=prime&tolerance_pct=1&q=o",
            "/lenses?q=o&#38;kind=prime&#38;tolerance_pct=1",
        ),
        (ZOOM, ZOOM),
        ("/plan", "/plan"),
        ("/method", "/method"),
        ("/api", "/api"),
    ] {
        let text = site.get(path).await.text();
        assert_eq!(text.matches("rel=\"canonical\"").count(), 1, "{path}");
        for line in [
            format!("<link rel=\"canonical\" href=\"{SITE}{canonical}\">"),
            format!("<meta property=\"og:url\" content=\"{SITE}{canonical}\">"),
            "<meta property=\"og:title\"".to_owned(),
            format!("type=\"application/atom+xml\" href=\"{SITE}/feed.atom\""),
        ] {
            assert!(text.contains(&line), "{path}: {line}");
        }
    }
    for path in [
        ZOOM.to_owned(),
        "/compare?lens=ostrel-28-135-f-3-5&lens=tindra-sound-85-f-1-4&from_m=3&to_m=1".to_owned(),
    ] {
        let text = site.get(&path).await.text();
        let (_, rest) = text
            .split_once("<meta property=\"og:image\" content=\"")
            .unwrap_or_else(|| panic!("{path} has a picture"));
        let address = rest
            .split('"')
            .next()
            .expect("its end")
            .replace("&#38;", "&");
        let picture = site.get(address.strip_prefix(SITE).expect("public")).await;
        let drawn = image::load_from_memory(&picture.body).expect("a PNG");
        assert_eq!((drawn.width(), drawn.height()), (1200, 630), "{address}");
    }
    let page = site.get(ZOOM).await.text();
    let oembed = page
        .split("type=\"application/json+oembed\" href=\"")
        .nth(1)
        .and_then(|rest| rest.split('"').next())
        .expect("it says how to embed it");
    let path = oembed.strip_prefix(SITE).expect("public");
    assert_eq!(site.get(path).await.status, StatusCode::OK, "{oembed}");
}

#[tokio::test]
async fn the_record_is_a_data_set_that_nothing_can_break_out_of() {
    let site = Site::with_lenses().await;
    let evil = site
        .lens("Evil", "</script><script>alert(1)", (50.0, 50.0))
        .await;
    site.publish(&evil, &off(), curve(50.0, 1.0, 0.5)).await;
    for path in [ZOOM.to_owned(), format!("/lenses/{}", evil.slug)] {
        let text = site.get(&path).await.text();
        let block = text
            .split("<script type=\"application/ld+json\">")
            .nth(1)
            .and_then(|rest| rest.split("</script>").next())
            .unwrap_or_else(|| panic!("{path} has a data block"));
        let set: serde_json::Value = serde_json::from_str(block).expect("whole JSON");
        assert_eq!(set["@type"], "Dataset");
        assert_eq!(set["url"], format!("{SITE}{path}"));
        assert_eq!(
            set["license"],
            "https://creativecommons.org/licenses/by/4.0/"
        );
        // What catalogues ask of a data set: its name, 50 to 5000 characters on it, and who, when, what, of which licence.
        let words = set["description"].as_str().expect("a description");
        assert!((50..=5000).contains(&words.chars().count()), "{words}");
        for told in [
            "name",
            "identifier",
            "creator",
            "publisher",
            "datePublished",
            "dateModified",
            "keywords",
            "measurementTechnique",
            "variableMeasured",
            "includedInDataCatalog",
        ] {
            let is_told = match &set[told] {
                serde_json::Value::Array(all) => {
                    !all.is_empty() && all.iter().all(|one| !one.is_null())
                }
                one => !one.is_null(),
            };
            assert!(is_told, "{path}: {told}");
        }
        for file in set["distribution"].as_array().expect("files") {
            let address = file["contentUrl"].as_str().expect("an address");
            let answer = site.get(address.strip_prefix(SITE).expect("public")).await;
            assert_eq!(answer.status, StatusCode::OK, "{address}");
            let kind = file["encodingFormat"].as_str().expect("a kind");
            assert!(
                answer.header(header::CONTENT_TYPE).starts_with(kind),
                "{address}"
            );
        }
    }
    let unmeasured = site.get("/lenses/tindra-reef-35-f-2").await.text();
    assert!(!unmeasured.contains("ld+json"));
}
