"""The reader of technicians' notes: what free text says was found, done and denied, with the words it says it in."""
