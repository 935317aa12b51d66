"""A foreign export read by a mapping: what it declares, what it proposes, and the SQL that reads through it."""
