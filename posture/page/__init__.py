"""The page: a thin face on `posture.measure` in the browser; no arithmetic. Only this room imports streamlit."""
