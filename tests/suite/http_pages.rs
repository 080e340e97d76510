//! The reader pages, their twins, the read API and charts, through the router on a real store.

mod api;
mod charts;
mod pages;
mod site;
mod verdicts;
