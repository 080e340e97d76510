//! Routes, pages, API, forms, sessions; the only status codes.
