//! Local time of a site: reading what people write, and showing instants.
