"""What leaves the tool: pictures, tables and reports made from records."""
