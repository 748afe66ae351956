"""Where records and images live: one folder, one journal, content-addressed originals."""
