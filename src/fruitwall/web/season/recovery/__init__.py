"""The page of hurt trees and their recovery."""
