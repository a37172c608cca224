"""The document: content as values, figures as SVG, rendering to PDF and HTML."""
