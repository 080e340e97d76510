//! Draws a scene through plotters: as SVG or as pixels, its words in the embedded font. Only SVG that stands inside a
//! page keeps its words as text, in the font of the page.

use std::borrow::Cow;
use std::sync::Once;

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{FontDesc, FontFamily, FontStyle, TextStyle, register_font};

use super::direction::drawn;
use super::palette::{Rgb, Role, all_roles, class, colour};
use super::scene::{Align, Mark, Point, Scene};
use super::{ChartError, Theme, halo, lighter, outline};

/// Name under which the embedded font (DejaVu Sans 2.37) is known to plotters.
const EMBEDDED: &str = "embedded";

/// Stands in SVG until the words become outlines, or inherit the font of the page.
const INHERITED: &str = "inherit";

/// plotters counts a type size from the top of the tallest letter to the foot of the lowest: 1.24 em.
const PLOTTERS_SIZE: f64 = 1.24;

/// plotters centres a text in pixels this far above the middle of its capitals, type sizes.
const EMBEDDED_SINK: f64 = 0.2;

/// SVG is drawn this much larger and shown smaller, because plotters places marks on whole units.
const SVG_UNITS: f64 = 8.0;

/// Pixels are drawn up to twice as dense and averaged, as long as the drawing stays below this many.
const MOST_DRAWN_PIXELS: u64 = 36_000_000;

fn register_embedded_font() {
    static REGISTERED: Once = Once::new();
    REGISTERED.call_once(|| {
        if register_font(EMBEDDED, FontStyle::Normal, dejavu::sans::regular()).is_err() {
            tracing::error!("the embedded font could not be read; charts will lack text");
        }
    });
}

/// Width of a text in the embedded font, px. Fonts of browsers are narrower as a rule.
pub(super) fn text_width(words: &str, size: f64) -> f64 {
    // Measured large, because plotters gives whole pixels.
    const LARGE: f64 = 100.0;
    register_embedded_font();
    let font = FontDesc::new(
        FontFamily::Name(EMBEDDED),
        LARGE * PLOTTERS_SIZE,
        FontStyle::Normal,
    );
    font.box_size(&drawn(words))
        .map_or(0.6 * size * words.chars().count() as f64, |(width, _)| {
            f64::from(width) * size / LARGE
        })
}

/// The scene as SVG. `name` and `description` are for readers who can't see it.
pub(super) fn svg(
    scene: &Scene,
    theme: Theme,
    name: &str,
    description: &str,
) -> Result<String, ChartError> {
    let rimmed;
    let scene = if theme == Theme::Clear {
        rimmed = halo::behind(scene);
        &rimmed
    } else {
        scene
    };
    let units = |length: u32| (f64::from(length) * SVG_UNITS) as u32;
    let mut text = String::new();
    {
        let size = (units(scene.width), units(scene.height));
        let area = SVGBackend::with_string(&mut text, size).into_drawing_area();
        let pen = Pen {
            theme,
            scale: SVG_UNITS,
            family: INHERITED,
        };
        pen.draw(&area, scene)?;
        area.present().map_err(failed)?;
    }
    let body = text
        .split_once('>')
        .map_or(text.as_str(), |(_, after_root)| after_root);
    let body = body
        .replace(" opacity=\"1\"", "")
        .replace(" \"/>", "\"/>")
        .replace(">\n", ">")
        .replace("\n</text>", "</text>");
    let body = if theme == Theme::Page {
        body.replace(&format!(" font-family=\"{INHERITED}\""), "")
    } else {
        outline::in_place_of_text(&body, scene.texts(), SVG_UNITS, |text| {
            let (r, g, b) = colour(text.role, theme);
            let fill = format!("fill=\"#{r:02X}{g:02X}{b:02X}\"");
            if text.role != Role::Ground {
                return fill;
            }
            let width = (halo::stroke(scene) * SVG_UNITS).round();
            format!(
                "{fill} stroke=\"#{r:02X}{g:02X}{b:02X}\" stroke-width=\"{width}\" stroke-linejoin=\"round\""
            )
        })
    };
    let mut whole = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"chart-picture\" role=\"img\" width=\"{}\" height=\"{}\" viewBox=\"0 0 {} {}\"{}><title>{}</title><desc>{}</desc>{body}",
        scene.width,
        scene.height,
        units(scene.width),
        units(scene.height),
        plot_place(scene),
        escaped(name),
        escaped(description),
    );
    if theme == Theme::Page {
        for role in all_roles() {
            let (r, g, b) = colour(role, Theme::Page);
            for attribute in ["fill", "stroke"] {
                let fixed = format!("{attribute}=\"#{r:02X}{g:02X}{b:02X}\"");
                whole = whole.replace(&fixed, &format!("class=\"{}\"", class(role)));
            }
        }
        return Ok(lighter::merged(&whole));
    }
    Ok(whole)
}

/// Attributes that say where the plot is, in units of the view box, and what its width stands for.
fn plot_place(scene: &Scene) -> String {
    scene.plot.map_or_else(String::new, |plot| {
        format!(
            " data-left=\"{:.0}\" data-right=\"{:.0}\" data-top=\"{:.0}\" data-bottom=\"{:.0}\" data-most=\"{}\"",
            plot.left * SVG_UNITS,
            plot.right * SVG_UNITS,
            plot.top * SVG_UNITS,
            plot.bottom * SVG_UNITS,
            plot.most
        )
    })
}

fn escaped(words: &str) -> String {
    words
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}

/// The scene as PNG.
pub(super) fn png(scene: &Scene, theme: Theme) -> Result<Vec<u8>, ChartError> {
    let (width, height) = (scene.width, scene.height);
    let mut bytes = Vec::new();
    let cursor = std::io::Cursor::new(&mut bytes);
    let encoder = image::codecs::png::PngEncoder::new(cursor);
    let (pixels, kind) = if theme == Theme::Clear {
        let (grid, ink) = halo::parted(scene);
        let mut rgba = clear(&ink, theme)?;
        halo::behind_pixels(&mut rgba, scene, colour(Role::Ground, theme));
        halo::over(&mut rgba, &clear(&grid, theme)?);
        (rgba, image::ExtendedColorType::Rgba8)
    } else {
        let ground = colour(Role::Ground, theme);
        (
            pixels(scene, theme, ground)?,
            image::ExtendedColorType::Rgb8,
        )
    };
    image::ImageEncoder::write_image(encoder, &pixels, width, height, kind).map_err(failed)?;
    Ok(bytes)
}

/// Draws on no ground; four bytes a pixel. Drawn on white and on black, the difference tells how much shows through.
fn clear(scene: &Scene, theme: Theme) -> Result<Vec<u8>, ChartError> {
    let white = pixels(scene, theme, (255, 255, 255))?;
    let black = pixels(scene, theme, (0, 0, 0))?;
    Ok(see_through(&white, &black))
}

/// Draws on a ground of one colour and averages down to the size of the scene; three bytes a pixel.
fn pixels(scene: &Scene, theme: Theme, ground: Rgb) -> Result<Vec<u8>, ChartError> {
    register_embedded_font();
    let count = u64::from(scene.width) * u64::from(scene.height);
    let dense: u32 = if count * 4 <= MOST_DRAWN_PIXELS { 2 } else { 1 };
    let (width, height) = (scene.width * dense, scene.height * dense);
    let mut buffer = vec![0_u8; width as usize * height as usize * 3];
    {
        let area = BitMapBackend::with_buffer(&mut buffer, (width, height)).into_drawing_area();
        let (r, g, b) = ground;
        area.fill(&RGBColor(r, g, b)).map_err(failed)?;
        let pen = Pen {
            theme,
            scale: f64::from(dense),
            family: EMBEDDED,
        };
        pen.draw(&area, scene)?;
        area.present().map_err(failed)?;
    }
    if dense == 1 {
        return Ok(buffer);
    }
    let row = width as usize * 3;
    let mut averaged = Vec::with_capacity(buffer.len() / 4);
    for pair in buffer.chunks_exact(row * 2) {
        let (upper, lower) = pair.split_at(row);
        for (above, below) in upper.chunks_exact(6).zip(lower.chunks_exact(6)) {
            for channel in 0..3 {
                let sum = u16::from(above[channel])
                    + u16::from(above[channel + 3])
                    + u16::from(below[channel])
                    + u16::from(below[channel + 3]);
                averaged.push(u8::try_from((sum + 2) / 4).unwrap_or(u8::MAX));
            }
        }
    }
    Ok(averaged)
}

/// Colour and opacity of every pixel from what it looks like on white and on black.
fn see_through(white: &[u8], black: &[u8]) -> Vec<u8> {
    let mut rgba = Vec::with_capacity(white.len() / 3 * 4);
    for (on_white, on_black) in white.chunks_exact(3).zip(black.chunks_exact(3)) {
        let ground = (0..3)
            .map(|channel| u16::from(on_white[channel].saturating_sub(on_black[channel])))
            .max()
            .unwrap_or(0);
        let alpha = 255 - ground;
        for value in on_black {
            let full = u16::from(*value) * 255;
            rgba.push(u8::try_from(full.checked_div(alpha).unwrap_or(0).min(255)).unwrap_or(255));
        }
        rgba.push(u8::try_from(alpha).unwrap_or(255));
    }
    rgba
}

fn failed(error: impl std::fmt::Display) -> ChartError {
    ChartError(error.to_string())
}

/// How a scene is turned into the units and colours of a backend.
struct Pen<'a> {
    theme: Theme,
    scale: f64,
    family: &'a str,
}

impl Pen<'_> {
    fn draw<B: DrawingBackend>(
        &self,
        area: &DrawingArea<B, plotters::coord::Shift>,
        scene: &Scene,
    ) -> Result<(), ChartError> {
        for mark in &scene.marks {
            match mark {
                Mark::Area(_, Role::Ground, _) if self.theme == Theme::Clear => {}
                Mark::Area(points, role, opacity) => {
                    let style = self.colour(*role).mix(*opacity).filled();
                    area.draw(&Polygon::new(self.places(points), style))
                        .map_err(failed)?;
                }
                Mark::Path(points, role, width) => {
                    let width = (width * self.scale).round().max(1.0) as u32;
                    let style = self.colour(*role).stroke_width(width);
                    area.draw(&PathElement::new(self.places(points), style))
                        .map_err(failed)?;
                }
                Mark::Text(text) => {
                    let size = text.size * self.scale * PLOTTERS_SIZE;
                    let font =
                        FontDesc::new(FontFamily::Name(self.family), size, FontStyle::Normal);
                    let across = match text.align {
                        Align::Start => HPos::Left,
                        Align::Middle => HPos::Center,
                        Align::End => HPos::Right,
                    };
                    let colour = self.colour(text.role);
                    let mut style = TextStyle::from(font).color(&colour);
                    style.pos = Pos::new(across, VPos::Center);
                    let lift = if self.family == EMBEDDED {
                        EMBEDDED_SINK
                    } else {
                        0.0
                    };
                    let at = self.place((text.at.0, text.at.1 + lift * text.size));
                    let words = if self.family == EMBEDDED {
                        drawn(&text.words)
                    } else {
                        Cow::Borrowed(text.words.as_str())
                    };
                    area.draw(&plotters::element::Text::new(words, at, style))
                        .map_err(failed)?;
                }
            }
        }
        Ok(())
    }

    fn colour(&self, role: Role) -> RGBColor {
        let (r, g, b) = colour(role, self.theme);
        RGBColor(r, g, b)
    }

    fn place(&self, (x, y): Point) -> (i32, i32) {
        let whole = |value: f64| (value * self.scale).round().clamp(-1e6, 1e6) as i32;
        (whole(x), whole(y))
    }

    fn places(&self, points: &[Point]) -> Vec<(i32, i32)> {
        points.iter().map(|point| self.place(*point)).collect()
    }
}
