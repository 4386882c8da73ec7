"""Pure drawing: scales, date axes, mark shapes and escaped markup. Knows no record and no clock."""
