"""From what was computed to the frozen plan: local instants, contract fields, reasons."""
