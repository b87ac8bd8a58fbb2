"""Spreadsheets in and out: components, offers and price rules as CSV and XLSX."""
