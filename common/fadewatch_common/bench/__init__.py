"""The bench check: may this laptop be issued? Pure rules over plain facts."""
