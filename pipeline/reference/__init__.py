"""Published figures, fields, measures and checks: tables that drive the rest."""
