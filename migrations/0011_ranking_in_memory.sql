-- The ranking is made in memory, at any tolerance, from what is packed here. The read models are made anew by the program when it
-- opens the database and finds that they have an older form.

-- Form of the read models; 0 for none.
ALTER TABLE content ADD COLUMN read_models INTEGER NOT NULL DEFAULT 0;

DROP TABLE rankings;
DROP TABLE focal_results;

-- One row per lens, conditions and focal length: the repeats combined.
CREATE TABLE focal_results (
  lens_id INTEGER NOT NULL REFERENCES lenses (id) ON DELETE CASCADE,
  conditions TEXT NOT NULL,
  focal_length_mm REAL NOT NULL,
  -- When something was published last of the lens under these conditions.
  published_ms INTEGER NOT NULL,
  -- What the ranking needs of it; before the document, so that reading it does not walk through that.
  packed BLOB NOT NULL,
  -- Everything a page says about it, curve included, JSON.
  document TEXT NOT NULL,
  PRIMARY KEY (lens_id, conditions, focal_length_mm)
) STRICT, WITHOUT ROWID;

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
