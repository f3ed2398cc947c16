"""What a paper says before it is entered: electronic invoices exactly, PDFs and photos as proposals."""
