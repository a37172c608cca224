"""Setting the content: PDF, HTML, tables and the field sheet."""
