"""Published routing instances and their best known values.

``A-n32-k5.vrp``: Augerat et al. (1995), set A, CVRPLIB; 784 with 5 routes, optimal (the file's own comment).
``C101.txt``: Solomon, M. M. (1987), Algorithms for the vehicle routing and scheduling problems with time window
constraints, Operations Research 35, 254-265. Distances cut to one decimal: 191.3 for the first 25 customers with 3
vehicles (from memory of Solomon's table), 827.3 for all 100 with 10 (solution file); full precision 828.94 (memory).
``OkSmall.txt`` and ``OkSmallPrizes.txt``: test instances of PyVRP 0.14 (MIT licence), 4 clients, asymmetric; the values
were worked out by brute force over all 21 feasible plans.
``orienteering_32.csv``: Tsiligirides, T. (1984), Heuristic methods applied to orienteering, Journal of the Operational
Research Society 35, 797-809, set 1; the scores in ``orienteering_32_best.csv`` from memory of Chao, Golden & Wasil
(1996), European Journal of Operational Research 88, 475-489; budgets 5, 10 and 15 were proved by integer programming.
"""
