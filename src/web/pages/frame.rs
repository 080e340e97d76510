//! What every page has around its content.

use crate::web::api::encoded;
use crate::web::session::Viewer;

/// The places of the site's navigation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Section {
    /// The start.
    Start,
    /// Ranking and lens pages.
    Lenses,
    /// The comparison.
    Compare,
    /// The shooting plan.
    Plan,
    /// How it is measured.
    Method,
    /// The guide for programs.
    Api,
    /// Pages of reviewers.
    Desk,
    /// One's own account.
    Account,
    /// Somewhere else.
    Elsewhere,
}

/// A link of the navigation.
#[derive(Debug, Clone, Copy)]
pub struct NavItem {
    /// Where it leads.
    pub href: &'static str,
    /// What it says.
    pub label: &'static str,
    /// Whether the reader is there.
    pub current: bool,
}

/// Sides of the picture that stands for a page where its address is shared, px.
pub const PICTURE_SIDES: (u32, u32) = (1200, 630);

/// How a page is known outside.
#[derive(Debug, Clone)]
pub struct Public {
    /// Public address of the site, without a slash at its end.
    pub site: String,
    /// The one address of the page.
    pub url: String,
    /// The question that what stands on it turns on; may be empty.
    pub question: String,
    /// Address of the picture that stands for it, without a question, and what it shows.
    pub picture: Option<(String, String)>,
    /// Whether other sites can show it in a frame.
    pub embeddable: bool,
}

impl Public {
    /// Where other sites learn how to show it.
    #[must_use]
    pub fn oembed(&self) -> String {
        format!("{}/oembed?url={}", self.site, encoded(&self.shared_url()))
    }

    /// Its address with the question that what stands on it turns on.
    #[must_use]
    pub fn shared_url(&self) -> String {
        match self.question.is_empty() {
            true => self.url.clone(),
            false => format!("{}?{}", self.url, self.question),
        }
    }
}

/// The publishing that a page is a preview of.
#[derive(Debug, Clone)]
pub struct PreviewOf {
    /// The page that it is published on.
    pub address: String,
    /// What is published there, e.g. "sweep 3".
    pub what: String,
}

/// What `base.html` needs of a page.
#[derive(Debug, Clone)]
pub struct PageFrame {
    /// Title, without the site's name.
    pub title: String,
    /// One sentence for search engines; may be empty.
    pub description: String,
    /// Where in the site it is.
    pub section: Section,
    /// Name of the account that is signed in.
    pub viewer: Option<String>,
    /// The sweep whose publishing this page shows beforehand.
    pub preview_of: Option<PreviewOf>,
    /// How the page is known outside; `None` for pages that are nobody else's.
    pub public: Option<Public>,
}

impl PageFrame {
    /// The frame of a page.
    #[must_use]
    pub fn new(title: impl Into<String>, section: Section, viewer: &Viewer) -> Self {
        Self {
            title: title.into(),
            description: String::new(),
            section,
            viewer: viewer.name().map(str::to_owned),
            preview_of: None,
            public: None,
        }
    }

    /// The same frame with a description for search engines.
    #[must_use]
    pub fn described(mut self, description: impl Into<String>) -> Self {
        self.description = description.into();
        self
    }

    /// The same frame of a page whose one address on this site is known, e.g. `/lenses`.
    #[must_use]
    pub fn at(mut self, site: &str, path: &str) -> Self {
        self.public = Some(Public {
            site: site.to_owned(),
            url: format!("{site}{path}"),
            question: String::new(),
            picture: None,
            embeddable: false,
        });
        self
    }

    /// The same frame where what stands on the page turns on this question: what is shared of it leads back to that.
    #[must_use]
    pub fn asked(mut self, question: &str) -> Self {
        if let Some(public) = &mut self.public {
            question.clone_into(&mut public.question);
        }
        self
    }

    /// The same frame with a picture, by its address on this site, that stands for the page where it is shared.
    #[must_use]
    pub fn pictured(mut self, path: &str, shows: String) -> Self {
        if let Some(public) = &mut self.public {
            public.picture = Some((format!("{}{path}", public.site), shows));
        }
        self
    }

    /// The same frame with this picture, where there is one.
    #[must_use]
    pub fn pictured_by(self, picture: Option<(String, String)>) -> Self {
        match picture {
            Some((path, shows)) => self.pictured(&path, shows),
            None => self,
        }
    }

    /// The same frame of a page that other sites can show in a frame.
    #[must_use]
    pub fn embeddable(mut self) -> Self {
        if let Some(public) = &mut self.public {
            public.embeddable = true;
        }
        self
    }

    /// The site's navigation.
    #[must_use]
    pub fn nav(&self) -> Vec<NavItem> {
        [
            (Section::Lenses, "/lenses", "Lenses"),
            (Section::Compare, "/compare", "Compare"),
            (Section::Plan, "/plan", "Plan a shoot"),
            (Section::Method, "/method", "Method"),
        ]
        .into_iter()
        .map(|(section, href, label)| NavItem {
            href,
            label,
            current: section == self.section,
        })
        .collect()
    }

    /// Whether it is the page of one's own account.
    #[must_use]
    pub fn is_account(&self) -> bool {
        self.section == Section::Account
    }

    /// Whether it is a page of reviewers.
    #[must_use]
    pub fn is_desk(&self) -> bool {
        self.section == Section::Desk
    }
}
