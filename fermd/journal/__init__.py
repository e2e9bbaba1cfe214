"""The record in SQLite: schema, migrations, writing, reading, thinning."""
