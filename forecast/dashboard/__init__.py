"""The Streamlit pages."""
