"""From files in records/ to rows in records.duckdb."""
