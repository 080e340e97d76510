-- What a measurement replaced; what files call a lens and what it was called before; what files tell of sensors.

-- The result that was current before the present one, to show what a repair changed.
ALTER TABLE sweeps ADD COLUMN previous_result_id INTEGER REFERENCES results (id);
CREATE INDEX sweeps_by_previous_result ON sweeps (previous_result_id);

-- Files that are no frame stand in upload_refusals; this column was never filled.
ALTER TABLE upload_files DROP COLUMN refused;

-- Width of the picture area from the focal lengths that its files state, a few per cent sure, mm.
ALTER TABLE cameras ADD COLUMN derived_width_mm REAL CHECK (derived_width_mm > 0);

-- What camera files call a lens (Exif LensModel), noted when a sweep of it is published.
CREATE TABLE lens_names (
  name TEXT PRIMARY KEY COLLATE NOCASE CHECK (length(name) BETWEEN 1 AND 255),
  lens_id INTEGER NOT NULL REFERENCES lenses (id) ON DELETE CASCADE,
  noted_ms INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX lens_names_of_lens ON lens_names (lens_id);

-- Slugs of lenses that were merged into others; addresses with them lead on.
CREATE TABLE lens_former_slugs (
  slug TEXT PRIMARY KEY,
  lens_id INTEGER NOT NULL REFERENCES lenses (id) ON DELETE CASCADE
) STRICT, WITHOUT ROWID;
CREATE INDEX lens_former_slugs_of_lens ON lens_former_slugs (lens_id);
