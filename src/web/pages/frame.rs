//! What every page has around its content.

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
    pub preview_of: Option<i64>,
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
        }
    }

    /// The same frame with a description for search engines.
    #[must_use]
    pub fn described(mut self, description: impl Into<String>) -> Self {
        self.description = description.into();
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
