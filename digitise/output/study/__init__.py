"""The tables of a study: what all records hold, as codes and figures, with a description of every column."""
