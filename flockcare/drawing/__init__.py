"""Pure drawing: scales, date axes, marks, escaped markup, a timeline. Knows no record, no clock."""
