"""The evening page: verdict, night strip, checklist, what stays at risk, yard drawing, trees."""
