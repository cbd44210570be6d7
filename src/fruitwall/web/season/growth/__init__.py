"""Page of growth: what each tree carries and what comes next, with a year strip and stages in one tap."""
