-- How far what is public has come: answers are known to be unchanged by one look, and read models in memory catch up lens by lens.

-- One row. The mark is drawn anew at every change, so that it never returns, not even after a restored backup.
CREATE TABLE content (
  id INTEGER PRIMARY KEY CHECK (id = 1),
  revision INTEGER NOT NULL,
  mark TEXT NOT NULL
) STRICT;
INSERT INTO content (id, revision, mark) VALUES (1, 0, lower(hex(randomblob(12))));

-- The revision at which a lens was last made, changed, published of, or taken away; a lens that is gone keeps its row.
CREATE TABLE lens_revisions (
  lens_id INTEGER PRIMARY KEY,
  revision INTEGER NOT NULL
) STRICT;
CREATE INDEX lens_revisions_by_revision ON lens_revisions (revision);
INSERT INTO lens_revisions (lens_id, revision) SELECT id, 0 FROM lenses;

CREATE TRIGGER lens_made AFTER INSERT ON lenses BEGIN
  UPDATE content SET revision = revision + 1, mark = lower(hex(randomblob(12)));
  INSERT INTO lens_revisions (lens_id, revision) SELECT NEW.id, revision FROM content WHERE true
    ON CONFLICT (lens_id) DO UPDATE SET revision = excluded.revision;
END;
CREATE TRIGGER lens_changed AFTER UPDATE ON lenses BEGIN
  UPDATE content SET revision = revision + 1, mark = lower(hex(randomblob(12)));
  INSERT INTO lens_revisions (lens_id, revision) SELECT NEW.id, revision FROM content WHERE true
    ON CONFLICT (lens_id) DO UPDATE SET revision = excluded.revision;
END;
CREATE TRIGGER lens_gone AFTER DELETE ON lenses BEGIN
  UPDATE content SET revision = revision + 1, mark = lower(hex(randomblob(12)));
  INSERT INTO lens_revisions (lens_id, revision) SELECT OLD.id, revision FROM content WHERE true
    ON CONFLICT (lens_id) DO UPDATE SET revision = excluded.revision;
END;
CREATE TRIGGER focal_result_made AFTER INSERT ON focal_results BEGIN
  UPDATE content SET revision = revision + 1, mark = lower(hex(randomblob(12)));
  INSERT INTO lens_revisions (lens_id, revision) SELECT NEW.lens_id, revision FROM content WHERE true
    ON CONFLICT (lens_id) DO UPDATE SET revision = excluded.revision;
END;
CREATE TRIGGER focal_result_gone AFTER DELETE ON focal_results BEGIN
  UPDATE content SET revision = revision + 1, mark = lower(hex(randomblob(12)));
  INSERT INTO lens_revisions (lens_id, revision) SELECT OLD.lens_id, revision FROM content WHERE true
    ON CONFLICT (lens_id) DO UPDATE SET revision = excluded.revision;
END;
CREATE TRIGGER publication_made AFTER INSERT ON publications BEGIN
  UPDATE content SET revision = revision + 1, mark = lower(hex(randomblob(12)));
  INSERT INTO lens_revisions (lens_id, revision) SELECT NEW.lens_id, revision FROM content WHERE true
    ON CONFLICT (lens_id) DO UPDATE SET revision = excluded.revision;
END;
CREATE TRIGGER publication_changed AFTER UPDATE ON publications BEGIN
  UPDATE content SET revision = revision + 1, mark = lower(hex(randomblob(12)));
  INSERT INTO lens_revisions (lens_id, revision) SELECT NEW.lens_id, revision FROM content WHERE true
    ON CONFLICT (lens_id) DO UPDATE SET revision = excluded.revision;
END;
CREATE TRIGGER public_version_changed AFTER UPDATE OF public_id ON sweeps BEGIN
  UPDATE content SET revision = revision + 1, mark = lower(hex(randomblob(12)));
  INSERT INTO lens_revisions (lens_id, revision) SELECT NEW.lens_id, revision FROM content WHERE true
    ON CONFLICT (lens_id) DO UPDATE SET revision = excluded.revision;
END;
CREATE TRIGGER former_slug_made AFTER INSERT ON lens_former_slugs BEGIN
  UPDATE content SET revision = revision + 1, mark = lower(hex(randomblob(12)));
  INSERT INTO lens_revisions (lens_id, revision) SELECT NEW.lens_id, revision FROM content WHERE true
    ON CONFLICT (lens_id) DO UPDATE SET revision = excluded.revision;
END;
