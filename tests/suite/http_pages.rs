//! The reader pages, their twins, the read API and charts, through the router on a real store.

mod api;
mod bounds;
mod charts;
mod compare;
mod counter_scale;
mod data;
mod discovery;
mod focal_length;
mod forms;
mod framed;
mod guide;
mod judges;
mod lens;
mod manners;
mod pages;
mod pulls;
mod ranking;
mod reading;
mod refusals;
mod sheets;
mod site;
mod sorting;
mod validators;
mod verdicts;
mod weight;
mod withdrawn;
