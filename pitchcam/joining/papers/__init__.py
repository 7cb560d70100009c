"""Drawings to scale, work sheets and job pages."""
