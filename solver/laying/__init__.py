"""Laying a rig: fits through given places, and the convex programme."""
