// A review as a page: sentences, drawings with their tables beside them, no script.
#pragma once

#include <span>
#include <string>
#include <string_view>

#include "fadeward/publish/review_text.hpp"

namespace fadeward::publish {

/// Where a page stands: a file of its own carries its style in it, the server's pages refer to
/// /style.css, since the server forbids everything inline.
enum class PageKind { file, served };

/// One document for all of them, a section for each.
std::string review_page(std::span<const review::LinkReview> reviews,
                        PageKind kind = PageKind::file);
std::string report_page(std::span<const NamedPerformance> links, PageKind kind = PageKind::file);

/// A page with a headline and one paragraph.
std::string plain_page(std::string_view title, std::string_view sentence, bool again_soon = false);

/// What the drawings need beside landing_style().
std::string_view review_style();

}  // namespace fadeward::publish
