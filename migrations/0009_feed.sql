-- What was published and taken back last, for the feed.
CREATE INDEX publications_by_time ON publications (published_ms, id);
CREATE INDEX publications_withdrawn ON publications (withdrawn_ms, id) WHERE withdrawn_ms IS NOT NULL;
