// Planes of a point cloud by CGAL's region growing or efficient RANSAC: the peers of peers_study.py.
//
//   cgal_planes (grow|ransac) EPSILON_M ANGLE_DEG MIN_POINTS REACH < points > labels
//
// points: binary, three doubles a point [m]; labels: binary, one int32 a point, -1 for none; seconds of the
// processor on stderr.  REACH is the number of neighbours (grow) or the cluster distance [m] (ransac).
// The algorithms are as CGAL 5.5's manual has them, package Shape Detection; this file only drives them.

#include <CGAL/Exact_predicates_inexact_constructions_kernel.h>
#include <CGAL/Point_set_3.h>
#include <CGAL/Shape_detection/Efficient_RANSAC.h>
#include <CGAL/Shape_detection/Region_growing/Region_growing.h>
#include <CGAL/Shape_detection/Region_growing/Region_growing_on_point_set.h>
#include <CGAL/jet_estimate_normals.h>

#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <string>
#include <vector>

using Kernel = CGAL::Exact_predicates_inexact_constructions_kernel;
using Point = Kernel::Point_3;
using Vector = Kernel::Vector_3;
// the index travels with its point: RANSAC shuffles its input
struct Item {
  Point point;
  Vector normal;
  std::int32_t row;
};

struct PointOf {
  using key_type = Item;
  using value_type = Point;
  using reference = const Point&;
  using category = boost::lvalue_property_map_tag;
  friend reference get(const PointOf&, const Item& item) { return item.point; }
  friend void put(const PointOf&, Item& item, const Point& p) { item.point = p; }
};
struct NormalOf {
  using key_type = Item;
  using value_type = Vector;
  using reference = const Vector&;
  using category = boost::lvalue_property_map_tag;
  friend reference get(const NormalOf&, const Item& item) { return item.normal; }
  friend void put(const NormalOf&, Item& item, const Vector& v) { item.normal = v; }
};

int main(int argc, char** argv) {
  if (argc != 6) return 2;
  const std::string way = argv[1];
  const double epsilon = std::atof(argv[2]), angle = std::atof(argv[3]), reach = std::atof(argv[5]);
  const int least = std::atoi(argv[4]);

  std::vector<Item> items;
  double xyz[3];
  while (std::fread(xyz, sizeof(double), 3, stdin) == 3)
    items.push_back({Point(xyz[0], xyz[1], xyz[2]), Vector(0, 0, 1), static_cast<std::int32_t>(items.size())});
  std::vector<std::int32_t> labels(items.size(), -1);

  const std::clock_t start = std::clock();
  CGAL::jet_estimate_normals<CGAL::Sequential_tag>(
      items, 12, CGAL::parameters::point_map(PointOf()).normal_map(NormalOf()).degree_fitting(1));
  for (Item& item : items)
    if (item.normal.z() < 0) item.normal = -item.normal;

  if (way == "grow") {
    using Query = CGAL::Shape_detection::Point_set::K_neighbor_query<Kernel, std::vector<Item>, PointOf>;
    using Region =
        CGAL::Shape_detection::Point_set::Least_squares_plane_fit_region<Kernel, std::vector<Item>, PointOf, NormalOf>;
    using Order = CGAL::Shape_detection::Point_set::Least_squares_plane_fit_sorting<Kernel, std::vector<Item>, Query, PointOf>;
    using Growing = CGAL::Shape_detection::Region_growing<std::vector<Item>, Query, Region, Order::Seed_map>;
    Query query(items, static_cast<unsigned int>(reach), PointOf());
    Region region(items, epsilon, angle, least, PointOf(), NormalOf());
    Order order(items, query, PointOf());
    order.sort();
    Growing growing(items, query, region, order.seed_map());
    std::vector<std::vector<std::size_t>> found;
    growing.detect(std::back_inserter(found));
    for (std::size_t k = 0; k < found.size(); ++k)
      for (std::size_t i : found[k]) labels[items[i].row] = static_cast<std::int32_t>(k);
  } else {
    using Traits = CGAL::Shape_detection::Efficient_RANSAC_traits<Kernel, std::vector<Item>, PointOf, NormalOf>;
    CGAL::Shape_detection::Efficient_RANSAC<Traits> ransac;
    ransac.set_input(items);
    ransac.add_shape_factory<CGAL::Shape_detection::Plane<Traits>>();
    typename CGAL::Shape_detection::Efficient_RANSAC<Traits>::Parameters parameters;
    parameters.probability = 0.01;
    parameters.min_points = least;
    parameters.epsilon = epsilon;
    parameters.cluster_epsilon = reach;
    parameters.normal_threshold = std::cos(angle * std::acos(-1.0) / 180);
    std::srand(1);
    ransac.detect(parameters);
    std::int32_t k = 0;
    for (const auto& shape : ransac.shapes()) {
      for (std::size_t i : shape->indices_of_assigned_points()) labels[items[i].row] = k;
      ++k;
    }
  }
  std::fprintf(stderr, "%.4f\n", static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC);
  std::fwrite(labels.data(), sizeof(std::int32_t), labels.size(), stdout);
  return 0;
}
